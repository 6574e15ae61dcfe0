"""What a page about a track holds of it for as long as it is open, as one JSON document.

Long arrays are packed: whole numbers of a fixed step, little endian, in base64.  What a change of
gates changes (gates, laps, findings) is not in here.  Limits, decimals and names that the page
needs too are: pages/web/base.schema.json describes the document.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.caution import CAUTION
from trackkit.gates.edit import LONGEST_NAME
from trackkit.gates.meant import widest_meant_m
from trackkit.gates.placement import SINGLE_KINDS, is_required
from trackkit.gates.quality import TimingQuality
from trackkit.gates.square import NARROWEST_M
from trackkit.geometry.bends import WORTH_TELLING_M, Straight, find_bends
from trackkit.geometry.geodesy import bearing_deg, longitude_near
from trackkit.motion.drive import LONGEST_GAP_S, Drive
from trackkit.pages.driven_laps import Thinning, driven_laps
from trackkit.pages.nearby import Shown, shown_of
from trackkit.pages.packing import pack
from trackkit.timing.decimals import MOST_DECIMALS
from trackkit.timing.laps import Lap
from trackkit.track.band import band_sides, bridge_reach_m, uncertain_stretches
from trackkit.track.credit import credits_of
from trackkit.track.facts import LONGEST_FACT
from trackkit.track.features import GATE_KINDS, GateKind, position_row
from trackkit.track.model import Track
from trackkit.underlay.embed import EmbeddedPicture
from trackkit.units import units

BAND_SPACING_M = 2.0
"""Distance between two places that the width of the band is told of, and the page draws."""
# Okabe and Ito's palette (Color Universal Design, 2008; from memory), cold to warm by speed: the
# order and the light middle hold for the common kinds of colour blindness, and width tells too.
SPEED_STYLES: tuple[tuple[str, float], ...] = (
    ("#0072b2", 1.6),
    ("#56b4e9", 2.2),
    ("#f0e442", 2.8),
    ("#e69f00", 3.6),
    ("#d55e00", 4.6),
)
CLASS_COUNT = len(SPEED_STYLES)
KIND_NAMES: dict[GateKind, str] = {
    "finish": "finish",
    "start": "start",
    "sector": "sector",
    "speed": "speed",
    "pit-entry": "pit entry",
    "pit-exit": "pit exit",
}
PLACE_DECIMALS = 1
"""Decimals of chainages and widths, metres, that the page shows and sends."""
_STANDSTILL_MPS = 1.0
"""Slower than this is standing (walking pace)."""
_COARSEST_DEG = 5e-7
_LEVELS = 65_000
"""As many steps fit in two bytes."""
_STEPS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500)
_PLACE_DEG, _SPEED_MPS, _LENGTH_M, _SIGMA_S = 1e-7, 0.01, 0.01, 1e-6
_BEARING_DEG, _PACE = 1e-4, 1e-5

Driven = tuple[Drive, Sequence[Lap]]
"""A smoothed recording and the laps in it."""


def base_document(
    track: Track,
    driven: Sequence[Driven] = (),
    quality: TimingQuality | None = None,
    names: Sequence[str] | None = None,
    drivers: Sequence[str] | None = None,
    underlay: EmbeddedPicture | None = None,
    shown: Sequence[Shown] | None = None,
    lap_rows: Sequence[Sequence[Mapping[str, Any]]] | None = None,
) -> dict[str, Any]:
    """Gather what a page shows of a track and of recordings on it, apart from gates and times.

    Parameters
    ----------
    track
        The track; chainages count from its datum as it is now.
    driven
        Smoothed drives with their laps, which are empty where the track has no gates to time.
    quality
        What a crossing is worth by chainage, or None.
    names
        What the page calls the recordings; their own names when None.
    drivers
        Who drove in each; the recordings' names when None.
    underlay
        A picture of the ground, cut to the track, or None.
    shown
        What of each is shown; everything when None.
    lap_rows
        From `driven_laps` of each, where that was done already.

    Returns
    -------
    dict
        Ready for `json.dumps`; every array that may be long is packed (see `pack`).
    """
    if shown is None:
        shown = [shown_of(track, drive.recording, everything=True) for drive, _ in driven]
    thinning = Thinning.of(track, [drive.recording for drive, _ in driven], shown)
    every = thinning.every
    if lap_rows is None:
        lap_rows = [
            driven_laps(track, thinning, drive, laps, (), part)
            for (drive, laps), part in zip(driven, shown, strict=True)
        ]
    return {
        "version": 1,
        "caution": CAUTION,
        "track": {
            **track.as_row(),
            "notes": track.notes,
            "accuracy_m": track.accuracy_m,
            "revised": track.revised,
            "country": track.country,
            "licence": track.licence,
            "credits": list(credits_of(track)),
            "band_known": bool(track.centreline.width_m or track.centreline.width_profile),
        },
        "limits": {
            "gate_width_m": [NARROWEST_M, widest_meant_m(track)],
            "gate_name_length": LONGEST_NAME,
            "fact_length": LONGEST_FACT,
        },
        "decimals": {"time": MOST_DECIMALS, "place": PLACE_DECIMALS},
        "gate_kinds": [
            {
                "kind": kind,
                "name": KIND_NAMES[kind],
                # A closed circuit is timed from its finish gate; a start gate is placed by command.
                "offered": kind != "start" or not track.closed,
                "single": kind in SINGLE_KINDS,
                "required": is_required(track, kind),
            }
            for kind in GATE_KINDS
        ],
        "line": _line(track),
        "corners": [
            {"id": corner.id, **corner.as_row(), "at": position_row(corner.apex)}
            for corner in track.corners
        ],
        "straights": [
            _straight(track, straight)
            for straight in find_bends(track.curve)[1]
            if straight.length_m >= WORTH_TELLING_M
        ],
        "bridges": [
            {**bridge.as_row(), "reach_m": round(bridge_reach_m(track, bridge), 2)}
            for bridge in track.crossovers
        ],
        "quality": None if quality is None else quality_row(quality),
        "recordings": [
            {
                **_recording(track, drive, part, every if part.drawn else None),
                **({} if names is None else {"file": names[index]}),
                "driver": (drivers or names or [drive.recording.name for drive, _ in driven])[
                    index
                ],
            }
            for index, ((drive, _), part) in enumerate(zip(driven, shown, strict=True))
        ],
        "laps": [
            {"recording": index, **row} for index, rows in enumerate(lap_rows) for row in rows
        ],
        "comparison": None,
        "day": None,
        "underlay": None if underlay is None else underlay_row(underlay),
        "grid_m": thinning.grid_m,
        "units": units().as_row(),
        "speed_bounds": speed_bounds(
            [
                drive.speed_mps[part.fixes]
                for (drive, _), part in zip(driven, shown, strict=True)
                if part.drawn
            ]
        ),
        "speed_styles": [{"colour": colour, "width_px": width} for colour, width in SPEED_STYLES],
    }


def underlay_row(picture: EmbeddedPicture) -> dict[str, Any]:
    """Describe a picture of the ground; its edges are degrees."""
    return {
        "picture": picture.data,
        "west": picture.west_deg,
        "south": picture.south_deg,
        "east": picture.east_deg,
        "north": picture.north_deg,
        "credit": picture.credit,
        "pixel_m": picture.pixel_m,
    }


def speed_bounds(speeds_mps: Sequence[Floats]) -> list[int]:
    """Choose round bounds between `CLASS_COUNT` classes of speed that spread what was driven.

    They are in the unit of speed that people read.

    Standing in the pits does not stretch them.
    """
    pooled = np.concatenate([np.asarray(speed, dtype=float) for speed in (*speeds_mps, [])])
    moving = units().speed_per_mps * pooled[pooled > _STANDSTILL_MPS]
    low, high = np.percentile(moving, [3, 97]) if len(moving) else (0.0, 0.0)
    wanted = (high - low) / CLASS_COUNT
    step = next((step for step in _STEPS if step >= wanted), _STEPS[-1])
    grain = 5 if step % 5 == 0 else 2 if step % 2 == 0 else 1
    first = round((0.5 * (low + high) - 0.5 * (CLASS_COUNT - 2) * step) / grain) * grain
    first = max(first, grain)
    return [int(first + step * n) for n in range(CLASS_COUNT - 1)]


def _line(track: Track) -> dict[str, Any]:
    curve = track.curve
    chainage = curve.chainages(BAND_SPACING_M)
    if curve.closed:
        chainage = np.append(chainage, curve.length_m)
    left, right = band_sides(track, chainage)
    return {
        "length_m": curve.length_m,
        "spline": _spline(track),
        "band_m": [round(float((left + right).min()), 3), round(float((left + right).max()), 3)],
        "left_m": pack(left, _LENGTH_M),
        "right_m": pack(right, _LENGTH_M),
        "accuracy": _accuracy(track, chainage),
    }


def _accuracy(track: Track, chainage_m: Floats) -> dict[str, Any] | None:
    accuracy = track.centreline.accuracy_at(chainage_m)
    if accuracy is None:
        return None
    return {
        "sigma_m": pack(accuracy[0], _LENGTH_M),
        "stretches": [
            {
                "from_m": round(stretch.begin_m, 1),
                "to_m": round(stretch.end_m, 1),
                "kind": stretch.kind,
                "sigma_m": round(stretch.sigma_m, 2),
            }
            for stretch in uncertain_stretches(track)
        ],
    }


def _spline(track: Track) -> dict[str, Any]:
    """Describe the line between its points exactly; see `Curve.vertex_tangents`."""
    curve = track.curve
    chainage, vertex, tangent = curve.vertex_chainage_m, curve.vertex_m, curve.vertex_tangents()
    if curve.closed:
        chainage = np.append(chainage, curve.length_m)
        vertex, tangent = np.vstack([vertex, vertex[:1]]), np.vstack([tangent, tangent[:1]])
    longitude, latitude = track.plane.to_geographic(vertex)
    bearing = bearing_deg(tangent) + track.plane.convergence_deg(longitude, latitude)
    return {
        "chainage_m": pack(chainage, 1e-4),
        "lon": pack(longitude, 1e-9),
        "lat": pack(latitude, 1e-9),
        "bearing_deg": pack(bearing % 360.0, _BEARING_DEG),
        "pace": pack(np.linalg.norm(tangent, axis=1), _PACE),
    }


def _straight(track: Track, straight: Straight) -> dict[str, float]:
    row = straight.as_row()
    end_m = float(track.curve.wrap(straight.start_m + straight.length_m))
    return {"from_m": row["start_m"], "to_m": round(end_m, 2), "length_m": row["length_m"]}


def _places(track: Track, longitude_deg: Floats, latitude_deg: Floats) -> dict[str, Any]:
    """Pack positions, their longitudes counted on around the track's own."""
    longitude = longitude_near(longitude_deg, track.plane.longitude_deg)
    return {"lon": pack_degrees(longitude), "lat": pack_degrees(latitude_deg)}


def pack_degrees(degrees: Floats) -> dict[str, Any]:
    """Pack longitudes or latitudes, in two bytes each where 5 cm allow that."""
    widest = float(np.ptp(degrees)) / _LEVELS if len(degrees) else 0.0
    return pack(degrees, max(widest, _PLACE_DEG) if widest <= _COARSEST_DEG else _PLACE_DEG)


def _recording(track: Track, drive: Drive, shown: Shown, every: int | None) -> dict[str, Any]:
    recording = drive.recording
    speed = drive.speed_mps
    row: dict[str, Any] = {
        "file": recording.name,
        "fix_count": shown.count,
        "duration_s": round(shown.duration_s, 3),
        "top_mps": round(float(np.nanmax(speed[shown.fixes], initial=0.0)), 3),
        "away_m": round(shown.away_m, 1) if shown.whole or shown.drawn else None,
        "every": every,
        "fixes": None,
    }
    if every is not None:
        kept = np.flatnonzero(shown.fixes)[::every]
        # Where the vehicle was within a long gap is unknown, so nothing is drawn across it.
        apart = np.diff(recording.time_s, prepend=recording.time_s[0]) > LONGEST_GAP_S
        if recording.segment is not None:
            apart[1:] |= np.diff(recording.segment) != 0
        apart[1:] |= ~shown.fixes[:-1]
        piece = np.cumsum(apart)
        row["fixes"] = {
            **_places(track, recording.longitude_deg[kept], recording.latitude_deg[kept]),
            "speed_mps": pack(speed[kept], _SPEED_MPS),
            "breaks": (np.flatnonzero(np.diff(piece[kept])) + 1).tolist(),
        }
    return row


def quality_row(quality: TimingQuality) -> dict[str, Any]:
    """Describe what a crossing is worth, by chainage, and what that was worked out from."""
    return {"sigma_s": pack(quality.sigma_s, _SIGMA_S), "basis": quality.basis}
