"""What the tables on a sheet of paper say of a track."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from trackkit.errors import PlaceError
from trackkit.paper.sheet import Table
from trackkit.paper.text import Lettering
from trackkit.recordings.recording import Recording
from trackkit.track.band import uncertain_stretches
from trackkit.track.features import GATE_KINDS
from trackkit.track.model import Track
from trackkit.track.sectors import sectors_of


def tables_of(track: Track, drives: Sequence[Recording], lettering: Lettering) -> list[Table]:
    """Write the key, and the tables of gates, sectors and corners."""
    clean = lettering.clean
    tables = [_key(track, drives, lettering)]
    if track.gates:
        rows = tuple(
            (
                clean(gate.name),
                _words(gate.kind),
                f"{gate.chainage_m:,.1f} m",
                f"{gate.width_m:,.1f} m",
            )
            for gate in track.gates
        )
        head = ("name", "kind", "chainage", "width")
        tables.append(Table("Gates", head, rows, (False, False, True, True)))
    sectors = _sectors(track)
    if sectors:
        head = ("sector", "from", "to", "length")
        tables.append(Table("Sectors", head, sectors, (True, True, True, True)))
    if track.corners:
        named = any(clean(corner.name) for corner in track.corners)
        corners = tuple(
            (
                str(c.number),
                *([clean(c.name)] if named else []),
                c.turn,
                f"{c.min_radius_m:,.0f} m",
                f"{c.apex_m:,.0f} m",
            )
            for c in track.corners
        )
        heads = ("no.", *(["name"] if named else []), "turn", "radius", "apex at")
        numeric = (True, *([False] if named else []), False, True, True)
        tables.append(Table("Corners", heads, corners, numeric))
    return tables


def _key(track: Track, drives: Sequence[Recording], lettering: Lettering) -> Table:
    """Say what the marks mean."""
    line = track.centreline
    if line.width_profile:
        widths = [left + right for _, left, right in line.width_profile]
        band = f"track, {min(widths):.1f} to {max(widths):.1f} m wide"
    elif line.width_m:
        band = f"track, {line.width_m:.1f} m wide"
    else:
        band = f"track, taken to be {track.band_m:.0f} m wide"
    rows = [("band", band), ("way", "driven this way")]
    most: dict[str, float] = {}
    for stretch in uncertain_stretches(track):
        most[stretch.kind] = max(most.get(stretch.kind, 0.0), stretch.sigma_m)
    rows += [(f"{kind}-line", f"{_KINDS[kind]}, ±{sigma:.1f} m") for kind, sigma in most.items()]
    present = {gate.kind for gate in track.gates}
    rows += [(kind, f"{_words(kind)} gate") for kind in GATE_KINDS if kind in present]
    rows += [("corner", "corner")] if track.corners else []
    rows += [("pit", "pit lane")] if track.pit_lanes else []
    rows += [("bridge", "bridge: on top here")] if track.crossovers else []
    names = [lettering.clean(Path(drive.name).name) for drive in drives[:3]]
    rows += [("drive", f"recorded: {name}") for name in names]
    if len(drives) > 3:
        rows.append(("drive", f"{len(drives) - 3} more recordings"))
    return Table(
        "Key",
        ("", ""),
        tuple(("", text) for _, text in rows),
        (False, False),
        tuple(mark for mark, _ in rows),
    )


_KINDS = {"thin": "thin: fixes far apart", "carried": "carried: no fixes", "drawn": "drawn by hand"}


def _words(kind: str) -> str:
    return kind.replace("-", " ")


def _sectors(track: Track) -> tuple[tuple[str, str, str, str], ...]:
    """Sectors from gate to gate; none where the gates that laps begin and end at are missing."""
    try:
        sectors = sectors_of(track)
    except PlaceError:
        return ()
    begin_m = track.timed_from.chainage_m
    rows = []
    for sector in sectors:
        end_m = begin_m + sector.length_m
        rows.append(
            (
                str(sector.number),
                f"{begin_m:,.1f} m",
                f"{end_m:,.1f} m",
                f"{sector.length_m:,.1f} m",
            )
        )
        begin_m = end_m
    return tuple(rows)
