"""Make the invented sample circuits in tracks/.

    python tracks/make_tracks.py [FOLDER]

The same every time: running it again changes no file.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from circuits import CIRCUITS, Circuit
from roadshape import laid_out

from trackkit.arrays import Floats
from trackkit.gates.choose import SpeedByChainage, choose_finish, choose_sectors
from trackkit.gates.placement import with_gate
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.shape import direction_of, surface_length
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.derive import bridges, lay, with_corners
from trackkit.track.file import write_track
from trackkit.track.ids import slug
from trackkit.track.model import Track
from trackkit.track.places import Place, chainage_of

FOLDER = Path(__file__).parent
REVISED = "2026-01-01T00:00:00Z"
SECTORS = 3
NOTES = (
    "Invented: there is no such circuit, no such club, and nothing at this place. "
    "A sample circuit of the invented Quillfeather Motor Club. {setting}"
)
START_GATE_M = 30.0
RUN_OFF_M = 150.0
"""Where the gates of a point-to-point course are, from its beginning and from its end."""


def made_tracks() -> list[Track]:
    """Make every circuit, in the order of `circuits.CIRCUITS`."""
    made: dict[tuple[str, str], Track] = {}
    for circuit in CIRCUITS:
        other = made[circuit.finish_as] if circuit.finish_as else None
        if circuit.turned_round and other is not None:
            track = _turned_round(circuit, other)
        else:
            track = _drawn(circuit, other)
        made[circuit.name, circuit.layout] = _told(circuit, track)
    return list(made.values())


def _drawn(circuit: Circuit, other: Track | None) -> Track:
    """Lay the line, place its datum, then the gates, as `trackkit build` does."""
    plane = LocalPlane(circuit.longitude_deg, circuit.latitude_deg)
    curve = Curve.through(laid_out(circuit.points, closed=circuit.closed), closed=circuit.closed)
    heights = _heights(circuit, curve)
    draft = _draft(circuit, curve, plane, 0.0, heights)
    chainage, pace = _speed(draft)
    if not circuit.closed:
        end = Place(chainage_m=draft.curve.length_m - RUN_OFF_M)
        draft, _, _ = with_gate(draft, "finish", end)
        draft, _, _ = with_gate(draft, "start", Place(chainage_m=START_GATE_M))
        return _with_sectors(draft, (chainage, pace))
    if other is None:
        datum_m, _ = choose_finish(draft.curve, (chainage, pace))
    else:
        left, right = np.array(other.finish.left), np.array(other.finish.right)
        longitude, latitude = (0.5 * (left + right)).tolist()
        datum_m, _ = chainage_of(draft, Place(position=(longitude, latitude)))
    track = _draft(circuit, curve, plane, datum_m, heights)
    track, _, _ = with_gate(track, "finish", Place(chainage_m=0.0))
    from_finish = np.asarray(draft.curve.along(datum_m, chainage))
    order = np.argsort(from_finish)
    return _with_sectors(track, (from_finish[order], pace[order]))


def _draft(
    circuit: Circuit,
    curve: Curve,
    plane: LocalPlane,
    datum_m: float,
    heights: tuple[Floats, Floats] | None,
) -> Track:
    """Make a track without gates whose line begins at a place on a curve."""
    line = lay(curve, plane, start_m=datum_m, heights=heights)
    track = Track(
        id=slug(f"{circuit.name} {circuit.layout}".strip()),
        name=circuit.name,
        layout=circuit.layout,
        centreline=replace(line, width_m=circuit.width_m),
        length_m=curve.length_m,
        line="centre",
    )
    actual = track.curve
    chainage = actual.chainages(1.0)
    height = np.full(len(chainage), np.nan)
    if line.height_m is not None:
        known = line.height_m[: len(actual.vertex_chainage_m)]
        period = actual.length_m if actual.closed else None
        height = np.interp(chainage, actual.vertex_chainage_m, known, period=period)
    crossovers, _ = bridges(actual, chainage, height)
    return replace(
        track,
        length_m=actual.length_m,
        length_surface_m=surface_length(actual, chainage, height),
        direction=direction_of(actual),
        crossovers=crossovers,
    )


def _heights(circuit: Circuit, curve: Curve) -> tuple[Floats, Floats] | None:
    """Heights along the line, smooth and without overshoot between those given."""
    from scipy.interpolate import PchipInterpolator

    if not circuit.heights:
        return None
    along, height = np.array(circuit.heights, dtype=float).T
    if circuit.closed:
        along = np.concatenate([along - curve.length_m, along, along + curve.length_m])
        height = np.tile(height, 3)
    chainage = curve.chainages(1.0)
    return chainage, np.asarray(PchipInterpolator(along, height)(chainage))


def _speed(draft: Track) -> SpeedByChainage:
    """Chainages and speeds, m/s, of a practice lap without any variation."""
    run = simulate_drive(draft, laps=1, noise=0.0, lap_variation=0.0, line_variation_m=0.0).runs[0]
    time = np.arange(run.start_s, run.end_s, 0.1)
    driven, pace = run.chainage(time), run.chainage(time, 1)
    # On a closed track the first length is the out lap.
    begin = draft.curve.length_m if draft.closed else 0.0
    chainage = draft.curve.chainages(1.0)
    moving = np.concatenate([[True], np.diff(driven) > 0])
    return chainage, np.interp(chainage + begin, driven[moving], pace[moving])


def _with_sectors(track: Track, speed: SpeedByChainage) -> Track:
    places, _ = choose_sectors(track, SECTORS, speed)
    for place in places:
        track, _, _ = with_gate(track, "sector", Place(chainage_m=place))
    return track


def _turned_round(circuit: Circuit, other: Track) -> Track:
    """Take the same line the other way; each gate is where it was, facing the other way."""
    line = other.centreline
    track = replace(
        other,
        id=slug(f"{circuit.name} {circuit.layout}"),
        layout=circuit.layout,
        centreline=replace(
            line,
            longitude_deg=line.longitude_deg[::-1],
            latitude_deg=line.latitude_deg[::-1],
            height_m=None if line.height_m is None else line.height_m[::-1],
        ),
        gates=(),
        corners=(),
        history=(),
        notes="",
    )
    track = replace(track, direction=direction_of(track.curve))
    track, _, _ = with_gate(track, "finish", Place(chainage_m=0.0))
    for gate in reversed(other.gates_of_kind("sector")):
        there = Place(chainage_m=other.curve.length_m - gate.chainage_m)
        track, _, _ = with_gate(track, "sector", there)
    return track


def _told(circuit: Circuit, track: Track) -> Track:
    """Add what people read: names of corners, licence, notes."""
    track = with_corners(track)
    known = {corner.number for corner in track.corners}
    if not known >= set(circuit.corner_names):
        raise ValueError(f"{circuit.name} has corners {sorted(known)} only")
    corners = tuple(
        replace(corner, name=circuit.corner_names.get(corner.number, ""))
        for corner in track.corners
    )
    track = replace(
        track,
        corners=corners,
        country=circuit.country,
        timezone=circuit.timezone,
        licence="CC0-1.0",
        notes=NOTES.format(setting=circuit.setting),
    )
    return track.revised_by("drawn by tracks/make_tracks.py", REVISED)


def main(folder: Path) -> None:
    """Write every circuit to a folder."""
    for track in made_tracks():
        path = folder / f"{track.id}.geojson"
        write_track(track, path, force=True)
        print(f"{path}: {track.length_m:,.1f} m, {len(track.corners)} corners")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
