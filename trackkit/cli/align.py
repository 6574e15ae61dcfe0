"""``trackkit gate align``: where the official finish line lies."""

from __future__ import annotations

import shlex
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    columns_option,
    json_option,
    parse_columns,
    plain_minus,
    print_json,
    read_recordings,
    remark,
    remarks,
)
from trackkit.errors import PlaceError, TrackkitError

OTHER_LAPS = 10.0
"""Times that scatter this many times as much as they should are hardly of the same laps."""

if TYPE_CHECKING:
    from trackkit.official.align import Alignment
    from trackkit.official.observations import Gathered
    from trackkit.recordings.recording import Recording
    from trackkit.track.model import Track

_LONGEST_VEHICLE_M = 20.0


def _metres(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:  # noqa: ARG001
    if value is None:
        return None
    try:
        metres = float(plain_minus(value))
    except ValueError:
        metres = float("nan")
    if not abs(metres) <= _LONGEST_VEHICLE_M:
        raise click.BadParameter(
            f"{plain_minus(value)!r} is no distance along a vehicle in metres, such as 0.6 or -0.6"
        )
    return metres


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
    callback=_metres,
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
    from trackkit.official.align import align_line
    from trackkit.official.observations import fits_sectors, gather
    from trackkit.official.times import read_official
    from trackkit.timing.lap_times import time_laps
    from trackkit.track.file import read_track

    if len(official_paths) not in (1, len(recording_paths)):
        raise click.UsageError(
            f"{len(recording_paths)} recordings and {len(official_paths)} lists of official times: "
            "give --official once, or once for each recording, in their order"
        )
    track = read_track(track_path)
    if not track.closed:
        raise PlaceError("lap times tell where a line lies only on a closed track", file=track_path)
    recordings, failed = read_recordings(recording_paths, columns)
    if not recordings or (failed and len(official_paths) > 1):
        ctx.exit(1)
    lists = [read_official(path, parse_columns(official_columns)) for path in official_paths]
    lists = lists * len(recordings) if len(lists) == 1 else lists
    with_sectors = all(fits_sectors(track, times) for times in lists)
    if not with_sectors and any(lap.sectors_s for times in lists for lap in times.laps):
        count = len(track.gates_of_kind("sector")) + 1
        remark(f"sector times are not used: not every list has {count} sectors, as the track has")
    remarks(_together(recordings))
    gathered = []
    for recording, times in zip(recordings, lists, strict=True):
        remarks(times.remarks, times.file)
        report = time_laps(track, recording)
        try:
            one = gather(
                track, report, times, clock_within_s=clock_within, with_sectors=with_sectors
            )
        except TrackkitError as error:
            if len(recordings) == 1:
                raise
            raise TrackkitError(
                f"{error.what} (recording {recording.name})", file=error.file, remedy=error.remedy
            ) from error
        remarks(one.remarks, times.file)
        gathered.append(one)
    if antenna_ahead is None:
        remark("the antenna is taken to be beside the transponder; --antenna-ahead M says where "
               "it is, and shifts the line by as much")  # fmt: skip
    found = align_line(
        [one.observed for one in gathered],
        clock_within_s=clock_within, sector_lines_within_m=sectors_within,
        antenna_ahead_m=antenna_ahead or 0.0,
    )  # fmt: skip
    moved, said = _apply(track, track_path, found) if apply and found.told else (False, ())
    if as_json:
        print_json(_document(track, found, gathered, antenna_ahead, moved))
    else:
        _print(
            track, track_path, found, gathered, moved=moved, clock_known=clock_within is not None
        )
    remarks(said)
    if failed:
        ctx.exit(1)


def _together(recordings: list[Recording]) -> tuple[str, ...]:
    """Say which recordings are of the same time."""
    spans = sorted(
        (one.start, one.time_of_day(one.duration_s), one.name)
        for one in recordings
        if one.start is not None
    )
    return tuple(
        f"{first[2]} and {second[2]} were recorded at the same time: their errors are taken to be "
        "independent, although receivers beside each other share part of theirs"
        for first, second in pairwise(spans)
        if first[1] is not None and second[0] < first[1]
    )


def _apply(track: Track, track_path: str, found: Alignment) -> tuple[bool, tuple[str, ...]]:
    """Move the finish gate, unless it was surveyed and may be right."""
    from trackkit.gates.placement import with_gate_moved
    from trackkit.track.file import stored, write_track
    from trackkit.track.history import now
    from trackkit.track.places import Place

    finish = track.finish
    if finish.surveyed and found.low_m <= 0.0 <= found.high_m:
        text = "the finish gate was surveyed, and these times do not contradict that: it stays"
        return False, (text,)
    place = Place(chainage_m=float(track.curve.wrap(finish.chainage_m + found.ahead_m)))
    changed, _, said = with_gate_moved(track, finish.id, place)
    text = (
        f"moved the finish gate by {found.ahead_m:.1f} m to the official line, ± "
        f"{found.sigma_m:.1f} m by official times"
    )
    write_track(stored(changed.revised_by(text, now())), track_path, force=True, keep_previous=True)
    if finish.surveyed:
        said = (*said, f"its surveyed ends are in {track_path}~")
    return True, said


def _basis(gathered: list[Gathered]) -> str:
    counts = (
        (sum(one.laps for one in gathered), "lap time", "lap times"),
        (sum(one.sectors for one in gathered), "sector time", "sector times"),
        (sum(one.moments for one in gathered), "time of day", "times of day"),
    )
    return ", ".join(
        f"{count} {one if count == 1 else more}" for count, one, more in counts if count
    )


def _print(
    track: Track,
    track_path: str,
    found: Alignment,
    gathered: list[Gathered],
    *,
    moved: bool,
    clock_known: bool,
) -> None:
    from trackkit.official.align import WIDEST_M

    click.echo(f"official: {_basis(gathered)}" + (
        f"; {found.left_out} left out, far from what all others say" if found.left_out else ""
    ))  # fmt: skip
    unpaired = sum(one.unpaired for one in gathered)
    if unpaired:
        click.echo(f"{unpaired} official laps are not used: no complete flying lap fits them")
    if found.scale > 2.0:
        click.echo(
            f"official and recorded times scatter {found.scale:.1f} times as much as the receiver "
            "explains, which is reckoned with"
            + (": probably they are not of the same laps" if found.scale > OTHER_LAPS else "")
        )
    for gate, ahead in zip(track.gates_of_kind("sector"), found.sector_lines_m, strict=False):
        click.echo(f"the official line of {gate.name} lies {_where(ahead)} its gate")
    if not clock_known:
        for clock, one in zip(found.clock_s, gathered, strict=True):
            if clock is not None and one.zone_s is not None:
                click.echo(f"the official clock is {clock:+.3f} s ahead of the receiver's, time "
                           "zones left aside")  # fmt: skip
    spread = f"95 % between {found.low_m:.1f} and {found.high_m:.1f} m"
    if not found.told:
        click.echo(
            f"these times cannot tell where the official line lies: {spread}, more than "
            f"{WIDEST_M:.0f} m apart; about {found.times_needed} times like these {found.times} "
            "would tell"
            + ("" if clock_known else ", or times of day on the receiver's clock (--clock-within)")
        )
        return
    click.echo(
        f"the official line lies {_where(found.ahead_m)} the finish gate, ± {found.sigma_m:.1f} m "
        f"(one sigma; {spread})"
    )
    if found.low_m <= 0.0 <= found.high_m:
        click.echo("the finish gate may well be right where it is")
    if moved:
        click.echo(f"moved the finish gate there; the file as it was is {track_path}~")
    elif abs(found.ahead_m) >= 0.05:
        remark(
            f"to move the finish gate there: trackkit gate move {shlex.quote(track_path)} "
            f"{shlex.quote(track.finish.id)} {found.ahead_m:.1f}m, or add --apply"
        )


def _where(ahead_m: float) -> str:
    return f"{abs(ahead_m):.1f} m {'ahead of' if ahead_m >= 0 else 'before'}"


def _document(
    track: Track,
    found: Alignment,
    gathered: list[Gathered],
    antenna_ahead: float | None,
    moved: bool,
) -> dict[str, Any]:
    from trackkit.official.align import WIDEST_M

    return {
        "ahead_m": found.ahead_m,
        "sigma_m": found.sigma_m,
        "low_m": found.low_m,
        "high_m": found.high_m,
        "told": found.told,
        "widest_m": WIDEST_M,
        "times": found.times,
        "times_needed": found.times_needed,
        "left_out": found.left_out,
        "scale": found.scale,
        "antenna_ahead_m": antenna_ahead,
        "searched_m": float(gathered[0].observed.lines[0].place_m[-1]),
        "sector_lines": [
            {"gate": gate.id, "ahead_m": ahead}
            for gate, ahead in zip(
                track.gates_of_kind("sector"), found.sector_lines_m, strict=False
            )
        ],
        "recordings": [
            {
                "laps": one.laps,
                "sectors": one.sectors,
                "times_of_day": one.moments,
                "unpaired": one.unpaired,
                "zone_s": one.zone_s,
                "clock_s": clock,
            }
            for one, clock in zip(gathered, found.clock_s, strict=True)
        ],
        "moved": moved,
    }
