"""``trackkit gate align``: where the official finish line lies."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import (
    Command,
    columns_option,
    held_for_change,
    json_option,
    metres_along_vehicle,
    parse_columns,
    print_json,
    read_recordings,
    remark,
    remarks,
    units_option,
)
from trackkit.units import units

OTHER_LAPS = 10.0
"""Times that scatter this many times as much as they should are hardly of the same laps."""

if TYPE_CHECKING:
    from trackkit.official.align_finish import FinishAlignment
    from trackkit.official.observations import Gathered
    from trackkit.track.model import Track


@click.command("align", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recording_paths", metavar="RECORDING...", nargs=-1, required=True)
@click.option(
    "--official",
    "official_paths",
    multiple=True,
    required=True,
    metavar="FILE.csv",
    help="Official times of one driver: lap times, sector times, times of day of passing. Once "
    "for all recordings, or once for each, in their order.",
)
@click.option(
    "--official-columns",
    metavar="NAME=COLUMN,...",
    help="Which columns hold what: lap, time, passing (a time of day), sector1, sector2, ...",
)
@click.option(
    "--antenna-ahead",
    callback=metres_along_vehicle,
    metavar="M",
    help="How far the GPS antenna is ahead of the transponder, metres; negative if behind.",
)
@click.option(
    "--clock-within",
    type=click.FloatRange(0.0, 3600.0),
    metavar="S",
    help="Times of day are on a clock that agrees with GPS time (UTC or a local time) within S "
    "seconds, one sigma; 0 for the receiver's own.  [default: the difference is unknown]",
)
@click.option(
    "--sectors-within",
    type=click.FloatRange(0.0, 100.0),
    metavar="M",
    help="The sector gates of TRACK lie on the official sector lines within M metres, one sigma.  "
    "[default: where those lie is unknown, and found too]",
)
@click.option("--apply", is_flag=True, help="Move the finish gate there, if the data can tell.")
@columns_option
@units_option
@json_option
@click.pass_context
def align(
    ctx: click.Context,
    track_path: str,
    recording_paths: tuple[str, ...],
    official_paths: tuple[str, ...],
    official_columns: str | None,
    antenna_ahead: float | None,
    clock_within: float | None,
    sectors_within: float | None,
    apply: bool,
    columns: str | None,
    as_json: bool,
) -> None:
    """Find where the official finish line lies, from official times and recordings.

    Lap times alone tell by how laps differ in speed around the line; times of day on the
    receiver's clock (--clock-within 0) tell far more. Where the data cannot tell, that is said, and
    about how many laps could.
    """
    from trackkit import align_finish, apply_alignment, read_official, read_track, write_track
    from trackkit.official.align_finish import require_closed

    if len(official_paths) not in (1, len(recording_paths)):
        raise click.UsageError(
            f"{len(recording_paths)} recordings and {len(official_paths)} lists of official times: "
            "give --official once, or once for each recording, in their order"
        )
    held = held_for_change(track_path) if apply else None
    track = read_track(track_path)
    require_closed(track, track_path)
    recordings, failed = read_recordings(recording_paths, columns)
    if not recordings or (failed and len(official_paths) > 1):
        ctx.exit(1)
    lists = [read_official(path, parse_columns(official_columns)) for path in official_paths]
    aligned = align_finish(
        track,
        recordings,
        lists,
        clock_within_s=clock_within,
        sector_lines_within_m=sectors_within,
        antenna_ahead_m=antenna_ahead,
        say=remark,
    )
    if antenna_ahead is None:
        remark(
            "the antenna is taken to be beside the transponder; --antenna-ahead M says where "
            "it is, and shifts the line by as much"
        )
    changed, texts = apply_alignment(track, aligned) if apply else (track, ())
    moved = changed is not track
    if moved:
        write_track(changed, track_path, held=held)
        if track.finish.surveyed:
            texts = (*texts, f"its surveyed ends are in {track_path}~")
    if as_json:
        print_json({**aligned.as_row(), "moved": moved})
    else:
        _print(track, track_path, aligned, moved=moved, clock_agrees=clock_within is not None)
    remarks(texts)
    if failed:
        ctx.exit(1)


def _basis(gathered: Sequence[Gathered]) -> str:
    counts = (
        (sum(observed.laps for observed in gathered), "lap time", "lap times"),
        (sum(observed.sectors for observed in gathered), "sector time", "sector times"),
        (sum(observed.moments for observed in gathered), "time of day", "times of day"),
    )
    return ", ".join(
        f"{count} {singular if count == 1 else plural}"
        for count, singular, plural in counts
        if count
    )


def _print(
    track: Track,
    track_path: str,
    aligned: FinishAlignment,
    *,
    moved: bool,
    clock_agrees: bool,
) -> None:
    from trackkit.official.align import WIDEST_M

    alignment, gathered = aligned.alignment, aligned.gathered
    left_out = f"; {alignment.left_out} left out, far from what all others say"
    click.echo(f"official: {_basis(gathered)}{left_out if alignment.left_out else ''}")
    unpaired = sum(observed.unpaired for observed in gathered)
    if unpaired:
        click.echo(f"{unpaired} official laps are not used: no complete flying lap fits them")
    if alignment.scale > 2.0:
        click.echo(
            f"official and recorded times scatter {alignment.scale:.1f} times as much as the "
            "receiver explains, which is reckoned with"
            + (": probably they are not of the same laps" if alignment.scale > OTHER_LAPS else "")
        )
    for gate, ahead in zip(track.gates_of_kind("sector"), alignment.sector_lines_m, strict=False):
        click.echo(f"the official line of {gate.name} lies {_where(ahead)} its gate")
    if not clock_agrees:
        for clock, observed in zip(alignment.clock_s, gathered, strict=True):
            if clock is not None and observed.zone_s is not None:
                click.echo(
                    f"the official clock is {clock:+.3f} s ahead of the receiver's, time "
                    "zones left aside"
                )
    shown = units()
    low, high = (shown.length_text(end, 1) for end in (alignment.low_m, alignment.high_m))
    spread = f"95 % between {low} and {high}"
    if not alignment.conclusive:
        click.echo(
            f"these times cannot tell where the official line lies: {spread}, more than "
            f"{shown.length_text(WIDEST_M)} apart; about {alignment.times_needed} times like these "
            f"{alignment.times} would tell"
            + ("" if clock_agrees else ", or times of day on the receiver's clock (--clock-within)")
        )
        return
    click.echo(
        f"the official line lies {_where(alignment.ahead_m)} the finish gate, "
        f"± {shown.length_text(alignment.sigma_m, 1)} (one sigma; {spread})"
    )
    if alignment.low_m <= 0.0 <= alignment.high_m:
        click.echo("the finish gate may well be right where it is")
    if moved:
        click.echo(f"moved the finish gate there; the file as it was is {track_path}~")
    elif abs(alignment.ahead_m) >= 0.05:
        remark(
            f"to move the finish gate there: trackkit gate move {shlex.quote(track_path)} "
            f"{shlex.quote(track.finish.id)} {alignment.ahead_m:.1f}m, or add --apply"
        )


def _where(ahead_m: float) -> str:
    return f"{units().length_text(abs(ahead_m), 1)} {'ahead of' if ahead_m >= 0 else 'before'}"
