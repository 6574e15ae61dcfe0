"""A picture of each step from recordings to a line, as one HTML page."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.build import Build
from trackkit.building.find_laps import FoundLap
from trackkit.building.fit import FittedLine
from trackkit.caution import CAUTION
from trackkit.checks.check import check_track
from trackkit.checks.verdict import Judgement, judge_track
from trackkit.errors import TrackkitError
from trackkit.files import write_whole
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.runs import runs_of
from trackkit.motion.drive import Drive
from trackkit.pages.assets import own_file, own_notice
from trackkit.track.accuracy import AccuracyKind
from trackkit.track.band import doubt_sides, stretch_places, uncertain_stretches
from trackkit.track.credit import credits_of
from trackkit.track.model import Track
from trackkit.underlay.embed import MAY_BE_OFF, EmbeddedPicture
from trackkit.units import as_read, units

RECORDING_COLOURS = ("#0072B2", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#F0E442")
THROWN_COLOUR = "#D55E00"
PLAIN_COLOUR = "#999999"
LINE_COLOUR = "#000000"
"""The Okabe-Ito palette and a grey; every colour has a text beside it."""
_KINDS: dict[AccuracyKind, tuple[str, str, str]] = {
    "thin": (RECORDING_COLOURS[5], "9 4", "thin, dashed: fixes are far apart (sparse logging)"),
    "carried": (RECORDING_COLOURS[4], "2 4", "carried, dotted: no fixes, the line bridges the gap"),
    "drawn": (RECORDING_COLOURS[2], "14 3", "drawn, long dashes: not recorded"),
}
_WIDTH, _LEAST_HEIGHT, _MOST_HEIGHT, _MARGIN = 940.0, 240.0, 900.0, 40.0
_CHART_HEIGHT = 320.0
_MOST_POINTS = 3000
_BARS = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
"""Lengths of scale bars and steps of axes, in the unit that people read."""


@dataclass(frozen=True)
class _View:
    """From metres on the plane to a drawing."""

    width: float
    height: float
    scale: float
    west_m: float
    north_m: float
    bar: float
    bar_text: str

    def path(self, position_m: Floats) -> str:
        """Write a line as an SVG path."""
        thin = self.drawn(position_m[:: max(1, len(position_m) // _MOST_POINTS)])
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in thin.tolist())

    def drawn(self, position_m: Floats) -> Floats:
        """Take places on the plane, shape (n, 2), to the drawing."""
        x = _MARGIN + (position_m[:, 0] - self.west_m) * self.scale
        y = _MARGIN + (self.north_m - position_m[:, 1]) * self.scale
        return np.column_stack([x, y])


def write_explanation(
    build: Build,
    path: str | os.PathLike[str],
    *,
    judgement: Judgement | None = None,
    underlay: EmbeddedPicture | None = None,
    force: bool = False,
) -> None:
    """Write `explain_html`, a page of how a track was built, whole or not at all.

    Parameters
    ----------
    build
        From `trackkit.build_track`, or `build` of what `trackkit.revise_track` gives.
    path
        The page to write.
    judgement
        The verdict on the track; None to judge it anew.
    underlay
        A picture of the ground that the page carries, from `trackkit.embed_underlay`.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    TrackkitError
        When the track was not built from laps.
    OutputError
        When the file exists and `force` is false, or cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> drive = trackkit.simulate_drive(trackkit.read_track(path), laps=2, rate_hz=5, seed=1)
    >>> build = trackkit.build_track([drive.recording], "Practice Oval")
    >>> trackkit.write_explanation(build, "built.html", force=True)
    """
    write_whole(path, explain_html(build, judgement, underlay), force=force)


def explain_html(
    build: Build, judgement: Judgement | None = None, underlay: EmbeddedPicture | None = None
) -> str:
    """Draw how a track was built: raw fixes, laps found, what was thrown out, spread, line.

    Parameters
    ----------
    build
        From `building.build_track` or `revising.revise_track`.
    judgement
        The verdict on the track; None to judge it anew.
    underlay
        A picture of the ground that the page carries, or None.

    Returns
    -------
    str
        A page that needs no network and runs no script.

    Raises
    ------
    TrackkitError
        When the track was not built from laps.
    """
    if build.fitted is None or not build.laps:
        raise TrackkitError(
            "nothing explains a line that was drawn or laid between edges",
            remedy="build from recordings of laps",
        )
    from jinja2 import Environment

    page = Environment(autoescape=True, trim_blocks=True).from_string(own_file("explain.html"))
    track = build.track
    judgement = judgement or judge_track(track, check_track(track), recorded=True)
    content = _content(build, build.fitted, underlay)
    return page.render(**content, verdict=_verdict(judgement, track))


def _verdict(judgement: Judgement, track: Track) -> dict[str, Any]:
    step = judgement.next_step
    names = [track.name, track.layout, *(gate.name for gate in track.gates)]
    return {
        "title": "Fit to hand on" if judgement.fit else "Not fit to hand on",
        "reasons": [
            as_read(reason, names) for reason in (*judgement.verdict.reasons, *judgement.remarks)
        ],
        "next": "" if step is None else as_read(step.what, names),
        "letters": judgement.letters,
    }


def _content(build: Build, fitted: FittedLine, underlay: EmbeddedPicture | None) -> dict[str, Any]:
    track = build.track
    drives = _drives([lap for lap, _ in build.laps])
    colour = {
        id(drive): RECORDING_COLOURS[n % len(RECORDING_COLOURS)] for n, drive in enumerate(drives)
    }
    plane = drives[0].plane
    line = plane.to_plane(track.centreline.longitude_deg, track.centreline.latitude_deg)
    raw = [plane.to_plane(d.recording.longitude_deg, d.recording.latitude_deg) for d in drives]
    driven = [lap.path.position_m[lap.part] for lap, _ in build.laps]
    ends = [plane.to_plane(*np.array([g.left, g.right]).T) for g in track.gates]
    view = _view([*raw, *driven, *ends, line])
    grey = _drawn(view, line, PLAIN_COLOUR, 1.0)
    thrown_laps = [lap for lap, why in build.laps if why]
    thrown = [
        _drawn(view, lap.path.position_m[lap.part], THROWN_COLOUR, 1.5) for lap in thrown_laps
    ]
    parts, part_reasons = _thrown_parts(fitted)
    thrown += [_drawn(view, part, THROWN_COLOUR, 3.0, "6 3") for part in parts]
    gates = [_drawn(view, both, RECORDING_COLOURS[0], 3.0) for both in ends]
    lanes = [
        _drawn(view, plane.to_plane(p.longitude_deg, p.latitude_deg), RECORDING_COLOURS[4], 2.0)
        for p in track.pit_lanes
    ]
    doubt = [
        _drawn(view, plane.to_plane(*track.plane.to_geographic(side)), RECORDING_COLOURS[3], 1.2)
        for side in doubt_sides(track) or ()
    ]
    unmeasured, kinds = _unmeasured(track, plane, view)
    names = [Path(drive.recording.name).name for drive in drives]
    track_names = [track.name, track.layout, *(gate.name for gate in track.gates)]
    removed = ", ".join(f"{count} for {reason}" for reason, count in build.removed.items())
    return {
        "title": f"{track.name} {track.layout}".strip(),
        "summary": f"{units().length_text(track.length_m, 1)}, {len(track.corners)} corners, "
        f"made from {build.laps_used} {'lap' if track.closed else 'run'}"
        f"{'' if build.laps_used == 1 else 's'} in {len(drives)} recording"
        f"{'' if len(drives) == 1 else 's'}.",
        "view": view,
        "ground": None if underlay is None else _ground(underlay, plane, view),
        "fixes": f"{sum(len(drive.recording) for drive in drives):,}",
        "removed": removed,
        "raw": [
            _drawn(view, place, colour[id(drive)], 1.0)
            for place, drive in zip(raw, drives, strict=True)
        ],
        "recordings": list(zip(colour.values(), names, strict=True)),
        "used": build.laps_used,
        "what": "lap" if track.closed else "run",
        "laps": _lap_rows(build.laps),
        "found": [
            _drawn(view, lap.path.position_m[lap.part], colour[id(lap.path.drive)], 1.2)
            for lap, _ in build.laps
        ],
        "thrown": [grey, *thrown] if thrown else [],
        "thrown_key": [
            (PLAIN_COLOUR, "the line"),
            (THROWN_COLOUR, "thrown out (thick and dashed: only that stretch of a lap)"),
        ],
        "reasons": [
            as_read(why, names) for why in (*(why for _, why in build.laps if why), *part_reasons)
        ],
        "length_unit": units().length,
        "spread_text": as_read(_spread_text(fitted)),
        "chart": _chart(fitted, colour),
        "line_text": as_read(
            f"Smoothed so that a feature {fitted.wavelength_m:g} m long keeps half its size, as "
            f"the noise of these laps asks for. {_accuracy(track, fitted)}{_line_kind(track)}"
        ),
        "final": [*doubt, _drawn(view, line, LINE_COLOUR, 2.0), *unmeasured, *lanes, *gates],
        "final_key": [
            (LINE_COLOUR, "the line"),
            *([(RECORDING_COLOURS[3], "two sigma to either side of it")] if doubt else []),
            *kinds,
            (RECORDING_COLOURS[0], "gates: " + ", ".join(g.name for g in track.gates)),
            *([(RECORDING_COLOURS[4], "pit lane")] if lanes else []),
        ],
        "remarks": [as_read(remark, [*names, *track_names]) for remark in build.remarks],
        "caution": CAUTION,
        "credits": credits_of(track),
        "notice": own_notice(),
    }


def _ground(picture: EmbeddedPicture, plane: LocalPlane, view: _View) -> dict[str, Any]:
    """Lay a picture by its corners.

    Over a circuit the web's Mercator projection and the plane differ by less than one of their
    pixels, once turn and both scales are the same.
    """
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    longitude = picture.west_deg + corners[:, 0] * (picture.east_deg - picture.west_deg)
    latitude = picture.north_deg + corners[:, 1] * (picture.south_deg - picture.north_deg)
    place = view.drawn(plane.to_plane(longitude, latitude))
    fitted = np.linalg.lstsq(np.column_stack([corners, np.ones(4)]), place, rcond=None)[0]
    return {
        "picture": picture.data,
        "matrix": " ".join(f"{number:.4f}" for number in fitted.ravel().tolist()),
        "credit": picture.credit,
        "sharpness": units().length_text(picture.pixel_m, 2),
        "caution": MAY_BE_OFF,
    }


def _unmeasured(
    track: Track, plane: LocalPlane, view: _View
) -> tuple[list[dict[str, Any]], list[tuple[str, str]]]:
    """Draw where the line is not measured, and say what that is."""
    drawn, key = [], {}
    for stretch in uncertain_stretches(track):
        colour, dashes, words = _KINDS[stretch.kind]
        place = plane.to_plane(*track.plane.to_geographic(stretch_places(track, stretch)))
        drawn.append(_drawn(view, place, colour, 5.0, dashes))
        key[colour] = words
    return drawn, list(key.items())


def _accuracy(track: Track, fitted: FittedLine) -> str:
    if track.accuracy_m is None:
        return ""
    return (
        f"Absolute accuracy {track.accuracy_m:.2f} m, one sigma sideways, estimated "
        f"{fitted.accuracy.basis}. "
    )


def _line_kind(track: Track) -> str:
    if track.line == "driven":
        return "It is the line driven, which is not the centre of the track."
    return "It is the centre of the track."


def _drives(laps: Sequence[FoundLap]) -> list[Drive]:
    seen = {id(lap.path.drive): lap.path.drive for lap in laps}
    return list(seen.values())


def _view(lines: Sequence[Floats]) -> _View:
    everything = np.concatenate(lines)
    low, high = everything.min(axis=0), everything.max(axis=0)
    east, north = np.maximum(high - low, 1.0).tolist()
    scale = min((_WIDTH - 2 * _MARGIN) / east, (_MOST_HEIGHT - 2 * _MARGIN) / north)
    height = max(north * scale + 2 * _MARGIN, _LEAST_HEIGHT)
    per_unit = scale / units().length_per_m
    bar = max((b for b in _BARS if b * per_unit <= 200), default=_BARS[0])
    text = f"{bar} {units().length}"
    return _View(_WIDTH, round(height), scale, low[0], high[1], round(bar * per_unit, 1), text)


def _drawn(
    view: _View, position_m: Floats, colour: str, width: float, dashes: str = ""
) -> dict[str, Any]:
    return {"path": view.path(position_m), "colour": colour, "width": width, "dashes": dashes}


def _lap_rows(laps: Sequence[tuple[FoundLap, str]]) -> list[dict[str, str]]:
    rows = []
    number: dict[int, int] = {}
    for lap, why in laps:
        key = id(lap.path.drive)
        number[key] = number.get(key, 0) + 1
        rows.append(
            {
                "recording": Path(lap.path.drive.recording.name).name,
                "number": str(number[key]),
                "start": f"{lap.start_s:,.1f}",
                "lasting": f"{lap.end_s - lap.start_s:,.1f}",
                "length": f"{lap.length_m * units().length_per_m:,.0f}",
                "use": as_read(why) or "yes",
            }
        )
    return rows


def _thrown_parts(fitted: FittedLine) -> tuple[list[Floats], list[str]]:
    """List stretches of laps that did not count, with a reason each."""
    parts, reasons = [], []
    curve, chainage = fitted.curve, fitted.chainage_m
    for lap, offset, weight in zip(fitted.laps, fitted.offset_m, fitted.weight, strict=True):
        for begin, end in runs_of(weight < 0.5, closed=curve.closed):
            inside = np.arange(begin, end) % len(chainage)
            at = chainage[inside]
            aside = np.where(np.isfinite(offset[inside]), offset[inside], 0.0)
            parts.append(curve.position(at) + aside[:, None] * curve.left(at))
            most = float(np.abs(aside).max())
            why = (
                "no fixes there"
                if (weight[inside] <= 0).all() and most == 0
                else (f"up to {most:.1f} m from the others")
            )
            reasons.append(
                f"{len(at) * float(chainage[1]):.0f} m of the lap at {lap.start_s:,.0f} s of "
                f"{Path(lap.path.drive.recording.name).name}: {why}"
            )
    return parts, reasons


def _spread_text(fitted: FittedLine) -> str:
    if len(fitted.laps) < 2:
        return "One lap has no spread: record more to see how far the line is known."
    worst = int(np.nanargmax(fitted.spread_m))
    return (
        f"Freed of each lap's own shift, the laps scatter about the line by "
        f"{float(np.sqrt(np.nanmean(fitted.spread_m**2))):.2f} m (one sigma), most where one goes "
        f"{fitted.chainage_m[worst]:,.0f} m from the beginning of the average: "
        f"{fitted.spread_m[worst]:.2f} m."
    )


def _chart(fitted: FittedLine, colour: dict[int, str]) -> dict[str, Any]:
    """Lay out the laps' sideways places by chainage."""
    offset = np.where(np.isfinite(fitted.offset_m), fitted.offset_m, 0.0)
    reach = max(1.0, float(np.ceil(np.quantile(np.abs(offset), 0.999))))
    length = float(fitted.chainage_m[-1])
    across = (_CHART_HEIGHT - 40.0) / (2 * reach)

    def path(value: Floats) -> str:
        thin = slice(None, None, max(1, len(value) // _MOST_POINTS))
        x = 50.0 + fitted.chainage_m[thin] / length * (_WIDTH - 60.0)
        y = 10.0 + (reach - np.clip(value[thin], -reach, reach)) * across
        return "M" + "L".join(
            f"{a:.1f} {b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)
        )

    lines = [
        {"path": path(row), "colour": colour[id(lap.path.drive)], "width": 0.7}
        for lap, row in zip(fitted.laps, offset, strict=True)
    ]
    if len(fitted.laps) > 1:
        spread = np.nan_to_num(fitted.spread_m)
        lines += [
            {"path": path(side * spread), "colour": LINE_COLOUR, "width": 1.6} for side in (1, -1)
        ]
    shown = units()
    read = length * shown.length_per_m
    step = next((b for b in _BARS if read / b <= 10), _BARS[-1])
    return {
        "width": _WIDTH,
        "height": _CHART_HEIGHT,
        "lines": lines,
        "across": [
            {
                "y": round(10.0 + (reach - v) * across, 1),
                "text": f"{v * shown.length_per_m:+.1f} {shown.length}",
            }
            for v in np.linspace(-reach, reach, 5).tolist()
        ],
        "along": [
            {
                "x": round(50.0 + at / read * (_WIDTH - 60.0), 1),
                "text": f"{at:.0f} {shown.length}",
            }
            for at in range(0, int(read), step)
        ],
        "key": [
            (LINE_COLOUR, "one sigma of the laps, either side"),
            (RECORDING_COLOURS[0], "each lap in its recording's colour, left of the line upward"),
        ],
    }
