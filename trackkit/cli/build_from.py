"""What ``trackkit build`` builds a track from: recordings, edges, or a drawn line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import read_recordings, remark, remarks

if TYPE_CHECKING:
    from trackkit.building.build import Build
    from trackkit.errors import TrackkitError
    from trackkit.track.places import Place
    from trackkit.underlay.picture import Underlay


def from_recordings(
    ctx: click.Context,
    paths: tuple[str, ...],
    columns: str | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
    lap_length_m: float | None,
    *,
    pit_gates: bool,
) -> tuple[Build, list[TrackkitError]]:
    """Build a track from whole laps; the files among them that cannot be read are left out."""
    from trackkit import build_track

    read, failed = read_recordings(paths, columns)
    if not read:
        ctx.exit(1)
    built = build_track(
        read,
        name,
        layout=layout,
        is_open=is_open,
        finish=finish,
        sectors=sectors,
        lap_length_m=lap_length_m,
        pit_gates=pit_gates,
    )
    return built, failed


def from_edges(
    ctx: click.Context,
    paths: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]],
    columns: str | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
) -> tuple[Build, list[TrackkitError]]:
    """Build a track between its left and its right edge, driven or walked along."""
    from trackkit import build_between

    read, failed = [], []
    for some in paths:
        recordings, wrong = read_recordings(some, columns)
        read.append(recordings)
        failed += wrong
    left, right, driven = read
    if not left or not right:
        ctx.exit(1)
    built = build_between(
        left,
        right,
        name,
        driven=driven,
        layout=layout,
        is_open=is_open,
        finish=finish,
        sectors=sectors,
    )
    return built, failed


def from_drawn_line(
    path: str,
    crs: str | None,
    picture: Underlay | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
) -> Build:
    """Build a track from a line in a file, over a picture if one is named."""
    from trackkit import build_from_line, read_line
    from trackkit.errors import NoLapError
    from trackkit.recordings.drawn.read import rights_in
    from trackkit.track.history import source_entry

    line = read_line(path, crs=crs)
    remarks(line.remarks, path)
    credit, licence = rights_in(path, crs)
    sources, sigma = [source_entry(path) | ({"credit": credit} if credit else {})], None
    if picture is not None:
        from trackkit.underlay.accuracy import traced_sigma_m

        sigma, basis = traced_sigma_m(picture, line.longitude_deg, line.latitude_deg)
        # Large as pictures are, the file alone is named, without its digest.
        shown = Path(picture.path).name
        sources.append({"file": shown, "kind": "picture", "credit": picture.credit})
        remark(f"the line is known to {sigma:.2f} m, one sigma sideways: {basis}")
    try:
        built = build_from_line(
            line.longitude_deg,
            line.latitude_deg,
            name,
            layout=layout,
            is_open=is_open,
            elevation_m=line.elevation_m,
            finish=finish,
            sectors=sectors,
            sources=sources,
            sigma_m=sigma,
        )
    except NoLapError as error:
        raise NoLapError(error.what, file=path, remedy=error.remedy) from error
    return replace(built, track=replace(built.track, licence=licence))
