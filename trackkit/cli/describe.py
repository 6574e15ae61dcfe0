"""``trackkit describe`` and ``diff``: what a track file says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click
import numpy as np

from trackkit.cli.common import Command, gate_rows, gate_table, json_option, print_json, table

if TYPE_CHECKING:
    from trackkit.geometry.bends import Straight
    from trackkit.track.model import Track


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@json_option
def describe(track_path: str, as_json: bool) -> None:
    """Print length, corners, straights, gates and elevation of a track."""
    from trackkit.cli.track_text import summary
    from trackkit.geometry.bends import find_bends
    from trackkit.track.file import read_track

    track = read_track(track_path)
    _, straights = find_bends(track.curve)
    heights = _heights(track)
    if as_json:
        print_json(
            {
                **track.as_row(),
                "corners": [corner.as_row() for corner in track.corners],
                "straights": [straight.as_row() for straight in straights],
                "gates": gate_rows(track.gates),
                "elevation": heights,
            }
        )
        return
    click.echo(summary(track))
    if heights is not None:
        click.echo(
            f"elevation {heights['lowest_m']:.0f} to {heights['highest_m']:.0f} m, steepest "
            f"gradient {heights['steepest_percent']:.1f} % at {heights['steepest_at_m']:.0f} m; "
            f"{track.length_surface_m or 0.0:,.1f} m along the surface"
        )
    if track.notes:
        click.echo(track.notes)
    gate_table(track.gates)
    shape_tables(track, straights)


def shape_tables(track: Track, straights: Sequence[Straight]) -> None:
    """Print the corners and straights of a track."""
    table(
        ["corner", "name", "turn", "entry m", "apex m", "exit m", "least radius m"],
        [
            [
                str(c.number), c.name, c.turn, f"{c.entry_m:.0f}", f"{c.apex_m:.0f}",
                f"{c.exit_m:.0f}", f"{c.min_radius_m:.1f}",
            ]
            for c in track.corners
        ],
    )  # fmt: skip
    from trackkit.geometry.bends import WORTH_TELLING_M

    long_enough = [s for s in straights if s.length_m >= WORTH_TELLING_M]
    table(
        ["straight from m", "length m"],
        [[f"{s.start_m:.0f}", f"{s.length_m:.0f}"] for s in long_enough],
    )


def _heights(track: Track) -> dict[str, float] | None:
    line = track.centreline
    if line.height_m is None:
        return None
    curve = track.curve
    chainage = curve.chainages(10.0)
    known = line.height_m[: len(curve.vertex_chainage_m)]
    period = curve.length_m if track.closed else None
    height = np.interp(chainage, curve.vertex_chainage_m, known, period=period)
    slope = np.gradient(height, chainage[1] - chainage[0]) * 100.0
    steepest = int(np.argmax(np.abs(slope)))
    return {
        "lowest_m": round(float(height.min()), 2),
        "highest_m": round(float(height.max()), 2),
        "steepest_percent": round(float(slope[steepest]), 2),
        "steepest_at_m": round(float(chainage[steepest]), 1),
    }


@click.command(cls=Command)
@click.argument("first", metavar="TRACK")
@click.argument("second", metavar="TRACK")
@json_option
def diff(first: str, second: str, as_json: bool) -> None:
    """Tell what moved between two track files, and by how much."""
    from trackkit.track.diff import compare_tracks
    from trackkit.track.file import read_track

    comparison = compare_tracks(read_track(first), read_track(second))
    if as_json:
        print_json(comparison.as_row())
    else:
        for line in comparison.lines():
            click.echo(line)
