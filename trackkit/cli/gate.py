"""``trackkit gate``: list, place, move, remove, suggest and align gates."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from trackkit.caution import ENDS
from trackkit.cli.align import align
from trackkit.cli.common import (
    Command,
    crs_option,
    gate_rows,
    gate_table,
    held_for_change,
    json_option,
    place_from,
    print_json,
    read_recordings,
    remark,
    remarks,
    table,
    units_option,
)
from trackkit.cli.remedies import About, sentence
from trackkit.track.features import GATE_KINDS, Gate, GateKind
from trackkit.track.model import Track
from trackkit.track.names import names_in
from trackkit.units import as_read, units

if TYPE_CHECKING:
    from trackkit.gates.edit import Change
    from trackkit.gates.suggest import Basis
    from trackkit.track.places import Place

width_option = click.option(
    "--width", type=click.FloatRange(0.5, 500), metavar="M", help="Width of the gate, metres."
)

ends_option = click.option(
    "--ends",
    metavar="LEFT,RIGHT",
    help=f"Instead of PLACE: two recordings of a receiver left on each end, averaged. {ENDS}",
)

anyway_option = click.option(
    "--anyway", is_flag=True, help="Even where such a gate can hardly be meant."
)


@click.group("gate")
def gate_commands() -> None:
    """List, place, move, remove, suggest and align gates.

    Commands that change TRACK leave the previous file beside it as TRACK~.
    """


@gate_commands.command("list", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recording_paths", metavar="[RECORDING]...", nargs=-1)
@units_option
@json_option
@click.pass_context
def list_gates(
    ctx: click.Context, track_path: str, recording_paths: tuple[str, ...], as_json: bool
) -> None:
    """List the gates in racing order, and what their times are worth.

    Speeds and the receiver's noise come from the recordings, or are assumed where there are none.
    """
    from trackkit import read_track, timing_quality

    track = read_track(track_path)
    recordings, failed = read_recordings(recording_paths)
    if not track.gates and not as_json:
        click.echo("the track has no gates")
        return
    quality = timing_quality(track, recordings)
    worth = [quality.of_gate(gate) for gate in track.gates]
    if as_json:
        rows = gate_rows(track.gates)
        for row, timing in zip(rows, worth, strict=True):
            row["timing"] = timing
        laps = quality.session_laps
        print_json({"gates": rows, "timing_basis": quality.basis, "session_laps": laps})
    else:
        _worth_table(track.gates, worth)
        remark(
            f"{units().speed} and ± (one sigma of a crossing, of a lap): {as_read(quality.basis)}"
        )
        if quality.session_laps:
            remark(
                f"together ±: of a lap where {quality.session_laps} laps of a driver who keeps to "
                "his line are timed together, as `laps` does"
            )
    if failed:
        ctx.exit(1)


def _worth_table(gates: tuple[Gate, ...], worth: list[dict[str, float] | None]) -> None:
    def cell(timing: dict[str, float] | None, key: str, factor: float, decimals: int) -> str:
        if timing is None or key not in timing:
            return "-"
        return f"{factor * timing[key]:.{decimals}f}"

    shown = units()
    table(
        [
            "order",
            "id",
            "kind",
            "name",
            f"chainage {shown.length}",
            f"width {shown.length}",
            "surveyed",
            shown.speed,
            "± ms",
            "lap ± ms",
            "together ± ms",
        ],
        [
            [
                str(gate.order),
                gate.id,
                gate.kind,
                gate.name,
                shown.length_figure(gate.chainage_m, 1),
                shown.length_figure(gate.width_m, 1),
                "yes" if gate.surveyed else "no",
                cell(timing, "speed_mps", shown.speed_per_mps, 0),
                cell(timing, "sigma_s", 1e3, 1),
                cell(timing, "lap_sigma_s", 1e3, 1),
                cell(timing, "session_lap_sigma_s", 1e3, 1),
            ]
            for gate, timing in zip(gates, worth, strict=True)
        ],
    )


@gate_commands.command("place", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("kind", type=click.Choice(GATE_KINDS))
@click.argument("place", metavar="PLACE", nargs=-1)
@ends_option
@width_option
@click.option("--name", metavar="TEXT", help="What to call it.")
@anyway_option
@crs_option
@units_option
@json_option
def place_gate_command(
    track_path: str,
    kind: GateKind,
    place: tuple[str, ...],
    ends: str | None,
    width: float | None,
    name: str | None,
    anyway: bool,
    crs: str | None,
    as_json: bool,
) -> None:
    """Place a new gate.

    PLACE is a chainage such as 412m (-20m counts back from the finish), LAT,LON, or two surveyed
    ends LAT,LON/LAT,LON, left end first.  The gate is square to the track, or exactly at the ends.
    """
    from trackkit import place_gate

    where = _where(place, ends, crs)

    _change(
        track_path,
        lambda track: place_gate(track, kind, where, width_m=width, name=name, anyway=anyway),
        as_json=as_json,
    )


@gate_commands.command("move", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("gate_name", metavar="GATE")
@click.argument("place", metavar="PLACE", nargs=-1)
@ends_option
@width_option
@anyway_option
@crs_option
@units_option
@json_option
def move_gate_command(
    track_path: str,
    gate_name: str,
    place: tuple[str, ...],
    ends: str | None,
    width: float | None,
    anyway: bool,
    crs: str | None,
    as_json: bool,
) -> None:
    """Move a gate.

    GATE is an id or a name; PLACE is a chainage such as 412m (-20m counts back from the finish),
    LAT,LON, or two surveyed ends LAT,LON/LAT,LON.  Every other gate stays on the ground.
    """
    from trackkit import move_gate

    where = _where(place, ends, crs)
    _change(
        track_path,
        lambda track: move_gate(track, gate_name, where, width_m=width, anyway=anyway),
        as_json=as_json,
    )


@gate_commands.command("remove", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("gate_name", metavar="GATE")
@units_option
@json_option
def remove_gate_command(track_path: str, gate_name: str, as_json: bool) -> None:
    """Remove a gate.

    GATE is an id or a name.
    """
    from trackkit import remove_gate

    _change(track_path, lambda track: remove_gate(track, gate_name), as_json=as_json)


@gate_commands.command("suggest", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recording_paths", metavar="[RECORDING]...", nargs=-1)
@click.option(
    "--sectors",
    type=click.IntRange(1, 50),
    required=True,
    metavar="N",
    help="How many sectors; one fewer gates are suggested.",
)
@click.option(
    "--by",
    type=click.Choice(["time", "length", "corners"]),
    default="time",
    show_default=True,
    help="What to split evenly; corners: from one straight to another, no corner cut in two.",
)
@click.option("--apply", is_flag=True, help="Put them in place of the sector gates of TRACK.")
@units_option
@json_option
@click.pass_context
def suggest_command(
    ctx: click.Context,
    track_path: str,
    recording_paths: tuple[str, ...],
    sectors: int,
    by: Basis,
    apply: bool,
    as_json: bool,
) -> None:
    """Suggest sector gates that split the lap as asked and whose times are worth most.

    Speeds and the receiver's noise come from the recordings, or are assumed where there are none.
    Gates keep clear of braking zones, apexes, other pieces of track and the pit lane.
    """
    from trackkit import apply_suggestions, read_track, suggest_gates, write_track

    held = held_for_change(track_path) if apply else None
    track = read_track(track_path)
    recordings, failed = read_recordings(recording_paths)
    if failed and not recordings:
        ctx.exit(1)
    split = suggest_gates(track, sectors, by, recordings=recordings)
    texts: tuple[str, ...] = ()
    if apply:
        track, texts = apply_suggestions(track, split)
        track = write_track(track, track_path, held=held)
    if as_json:
        print_json(
            {
                **split.as_row(),
                "applied": apply,
                "gates": gate_rows(track.gates),
                "remarks": list(texts),
            }
        )
    else:
        for number, suggestion in enumerate(split.suggestions, start=1):
            end = units().length_text(suggestion.chainage_m)
            click.echo(f"sector {number} ends at {end}: {as_read(suggestion.reason)}")
        table(
            ["sector", f"from {units().length}", f"to {units().length}", "time s", "± ms"],
            [
                [
                    str(sector.number),
                    units().length_figure(sector.begin_m),
                    units().length_figure(sector.end_m),
                    f"{sector.time_s:.1f}",
                    f"{1e3 * sector.sigma_s:.1f}",
                ]
                for sector in split.sectors
            ],
        )
        if apply:
            click.echo(as_read(track.history[-1]["what"], names_in(track)))
            gate_table(track.gates)
        elif split.suggestions:
            path = shlex.quote(track_path)
            remark(f"to place them, add --apply; it replaces the sector gates of {path}")
        remark(as_read(split.timing_basis))
    remarks(texts, names=names_in(track))
    if failed:
        ctx.exit(1)


gate_commands.add_command(align)


def _where(place: tuple[str, ...], ends: str | None, crs: str | None) -> Place:
    """Read where a gate goes, from the command line or from two recordings."""
    if bool(place) == (ends is not None):
        raise click.UsageError("give a PLACE, or --ends with two recordings")
    # A latitude and a longitude may come as two words, as `locate` takes them.
    return place_from(" ".join(place), crs) if place else _surveyed(str(ends))


def _surveyed(ends: str) -> Place:
    """Average two stationary recordings into the ends of a gate."""
    from trackkit import read_recording, survey_place

    paths = ends.split(",")
    if len(paths) != 2 or not all(paths):
        raise click.UsageError("--ends takes two recordings: LEFT,RIGHT")
    remark(ENDS)
    left, right = (read_recording(path) for path in paths)
    return survey_place(left, right)


def _change(track_path: str, change: Callable[[Track], Change], *, as_json: bool) -> None:
    """Change a track file in place and say what was done, and what check has to say about it."""
    from trackkit import check_track, read_track, write_track

    held = held_for_change(track_path)
    done = change(read_track(track_path))
    changed = write_track(done.track, track_path, held=held)
    findings = [f for f in check_track(changed) if f.feature == done.gate.id and not f.accepted]
    about = About(track_path)
    worded = (f"{f.severity}: {f.message}; {sentence(f.remedy, about)}" for f in findings)
    texts = (*done.remarks, *worded)
    names = (track_path, *names_in(changed))
    if as_json:
        print_json({"done": done.what, "gates": gate_rows(changed.gates), "remarks": list(texts)})
    else:
        click.echo(as_read(done.what, names))
        gate_table(changed.gates)
    remarks(texts, names=names)
