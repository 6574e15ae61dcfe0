"""What ``trackkit build`` prints of a track it has made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import gate_rows, gate_table, print_json, remark, remarks, table
from trackkit.cli.describe import shape_tables
from trackkit.cli.remedies import About, sentence
from trackkit.cli.track_text import summary
from trackkit.cli.verdict_text import verdict_lines, verdict_row
from trackkit.track.band import width_sigma
from trackkit.track.names import names_in
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.building.build import Build
    from trackkit.checks.verdict import Judgement
    from trackkit.track.model import Track


_BAND_PLACES = 12
_MOST_LINES = 15
"""What is printed without --details, the caution aside."""
_MOST_MOVED = 3
_GATES_NAMED = 6


def report(
    built: Build,
    judgement: Judgement,
    target: str,
    *,
    as_json: bool,
    details: bool = False,
    is_new: bool = False,
    more: dict[str, Any] | None = None,
    moved: tuple[str, ...] = (),
) -> None:
    """Print what was built, where it was written, the verdict on it, and the caution.

    Parameters
    ----------
    built, judgement, target
        The track, the verdict on it, and the file it was written to.
    as_json
        Whether to print one JSON document instead.
    details
        Whether to print all there is to tell, rather than 15 lines.
    is_new
        Whether there was no such file before, so that the whole caution is due.
    more
        More members of that document, when a track was revised.
    moved
        What moved then, a line each.
    """
    from trackkit import describe_track
    from trackkit.caution import AGAIN, CAUTION

    track = built.track
    names = (target, *names_in(track))
    texts = [*built.remarks, *(sentence(remedy, About(target)) for remedy in built.remedies)]
    straights = describe_track(track).straights
    if as_json:
        print_json(
            {
                "track": target,
                **track.as_row(),
                "accuracy_m": track.accuracy_m,
                "laps_used": built.laps_used,
                "corners": len(track.corners),
                "straights": [straight.as_row() for straight in straights],
                "band": band_rows(built),
                "removed": built.removed,
                "gates": gate_rows(track.gates),
                "remarks": texts,
                "verdict": verdict_row(judgement, target),
                **(more or {}),
            }
        )
        remarks(texts, names=names)
    elif details:
        remarks(texts, names=names)
        for line in (*moved, *_about(built, revised=more is not None)):
            click.echo(line)
        gate_table(track.gates)
        shape_tables(track, straights)
        band_table(built)
        for line in _ending(judgement, target, track):
            click.echo(line)
    else:
        _print_briefly(
            texts,
            names,
            moved,
            [*_about(built, revised=more is not None), _gates_line(track)],
            list(_ending(judgement, target, track)),
        )
    remark(CAUTION if is_new else AGAIN)


def _print_briefly(
    texts: Sequence[str],
    names: Sequence[str],
    moved: Sequence[str],
    about: Sequence[str],
    ending: Sequence[str],
) -> None:
    """Print what must be read: as many remarks as there is room for beside the rest."""
    lines = list(moved[:_MOST_MOVED])
    room = _MOST_LINES - len(lines) - len(about) - len(ending)
    shown = texts if len(texts) <= room and len(moved) <= _MOST_MOVED else texts[: room - 1]
    remarks(shown, names=names)
    for line in (*lines, *about):
        click.echo(line)
    left = len(texts) - len(shown) + len(moved) - len(lines)
    if left:
        remark(f"{left} more to read with --details")
    for line in ending:
        click.echo(line)


def _about(built: Build, *, revised: bool) -> Iterator[str]:
    track = built.track
    yield summary(track)
    if built.laps_used:
        what = "lap" if track.closed else "run"
        plural = "" if built.laps_used == 1 else "s"
        made = "revised with" if revised else "made from"
        line = "the one driven" if track.line == "driven" else "the centre of the track"
        yield f"{made} {built.laps_used} {what}{plural}; the line is {line}"


def _gates_line(track: Track) -> str:
    gates = [f"{gate.name} at {units().length_text(gate.chainage_m, 1)}" for gate in track.gates]
    more = len(gates) - _GATES_NAMED
    return "gates: " + "; ".join(gates[:_GATES_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _ending(judgement: Judgement, target: str, track: Track) -> Iterator[str]:
    yield from verdict_lines(judgement, target, track)
    yield f"wrote {target}"


def band_rows(built: Build) -> list[dict[str, float]]:
    """List how far to either side laps ran, or the edges are, every 10 m or so.

    Between edges the width has one sigma.
    """
    rows = [
        {"chainage_m": round(at, 2), "left_m": round(left, 2), "right_m": round(right, 2)}
        for at, left, right in built.band
    ]
    sigma = width_sigma(built.track, [at for at, _, _ in built.band])
    if sigma is not None:
        for row, sigma_m in zip(rows, sigma.tolist(), strict=True):
            row["width_sigma_m"] = round(sigma_m, 2)
    return rows


def band_table(built: Build) -> None:
    """Print how wide the band is between its edges at twelve places; --json has all of them."""
    rows = [row for row in band_rows(built) if "width_sigma_m" in row]
    if not rows:
        return  # How far apart laps ran is no width of anything.
    step = max(1, -(-len(rows) // _BAND_PLACES))
    figure = units().length_figure
    table(
        [f"{heading} {units().length}" for heading in ("band at", "left", "right", "width")],
        [
            [
                figure(row["chainage_m"]),
                figure(row["left_m"], 1),
                figure(row["right_m"], 1),
                f"{figure(row['left_m'] + row['right_m'], 1)} ±{figure(row['width_sigma_m'], 1)}",
            ]
            for row in rows[::step]
        ],
        title="Width of the band between the edges, one sigma",
    )
