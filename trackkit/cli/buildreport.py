"""What ``trackkit build`` prints of a track it has made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import gate_rows, gate_table, print_json, remark, remarks, table
from trackkit.cli.remedies import About, sentence
from trackkit.cli.track_text import summary

if TYPE_CHECKING:
    from trackkit.building.build import Build


_BAND_PLACES = 12


def report(
    built: Build,
    target: str,
    *,
    as_json: bool,
    is_new: bool = False,
    more: dict[str, Any] | None = None,
) -> None:
    """Print what was built, where it was written, and the caution.

    Parameters
    ----------
    built, target
        The track, and the file it was written to.
    as_json
        Whether to print one JSON document instead.
    is_new
        Whether there was no such file before, so that the whole caution is due.
    more
        More members of that document, when a track was revised.
    """
    from trackkit import describe_track
    from trackkit.caution import AGAIN, CAUTION
    from trackkit.cli.describe import shape_tables

    track = built.track
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
                **(more or {}),
            }
        )
        remarks(texts)
    else:
        remarks(texts)
        click.echo(summary(track))
        if built.laps_used:
            what = "lap" if track.closed else "run"
            plural = "" if built.laps_used == 1 else "s"
            made = "revised with" if more else "made from"
            line = "the one driven" if track.line == "driven" else "the centre of the track"
            click.echo(f"{made} {built.laps_used} {what}{plural}; the line is {line}")
        gate_table(track.gates)
        shape_tables(track, straights)
        band_table(built)
        click.echo(f"wrote {target}")
    remark(CAUTION if is_new else AGAIN)


def band_rows(built: Build) -> list[dict[str, float]]:
    """List how wide the band is, every 10 m or so."""
    return [
        {"chainage_m": round(at, 2), "left_m": round(left, 2), "right_m": round(right, 2)}
        for at, left, right in built.band
    ]


def band_table(built: Build) -> None:
    """Print how wide the band is at twelve places; --json has all of them."""
    if not built.band:
        return
    what = "between the edges" if built.track.line == "centre" else "where these laps ran"
    step = max(1, -(-len(built.band) // _BAND_PLACES))
    table(
        ["band at m", "left m", "right m", "width m"],
        [
            [f"{at:.0f}", f"{left:.1f}", f"{right:.1f}", f"{left + right:.1f}"]
            for at, left, right in built.band[::step]
        ],
        title=f"Width of the band {what}",
    )
