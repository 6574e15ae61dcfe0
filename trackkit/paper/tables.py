"""What the tables on a sheet of paper say of a track."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from trackkit.errors import PlaceError
from trackkit.paper.sheet import Table
from trackkit.paper.text import Lettering
from trackkit.recordings.recording import Recording
from trackkit.track.band import uncertain_stretches, width_sigma
from trackkit.track.features import GATE_KINDS
from trackkit.track.model import Track
from trackkit.track.sectors import sectors_of
from trackkit.units import units


def tables_of(track: Track, drives: Sequence[Recording], lettering: Lettering) -> list[Table]:
    """Write the key, and the tables of gates, sectors and corners."""
    clean, length = lettering.clean, units().length_text
    tables = [_key(track, drives, lettering)]
    if track.gates:
        rows = tuple(
            (
                clean(gate.name),
                _words(gate.kind),
                length(gate.chainage_m, 1),
                length(gate.width_m, 1),
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
                length(c.min_radius_m),
                length(c.apex_m),
            )
            for c in track.corners
        )
        heads = ("no.", *(["name"] if named else []), "turn", "radius", "apex at")
        numeric = (True, *([False] if named else []), False, True, True)
        tables.append(Table("Corners", heads, corners, numeric))
    return tables


def _key(track: Track, drives: Sequence[Recording], lettering: Lettering) -> Table:
    """Say what the marks mean."""
    line, shown = track.centreline, units()
    if line.width_profile:
        widths = [left + right for _, left, right in line.width_profile]
        low = shown.length_figure(min(widths), 1)
        band = f"track, {low} to {shown.length_text(max(widths), 1)} wide"
        sigma = width_sigma(track, [at for at, _, _ in line.width_profile])
        if sigma is not None:
            band += f", ±{shown.length_text(float(sigma.max()), 1)}"
    elif line.width_m:
        band = f"track, {shown.length_text(line.width_m, 1)} wide"
    else:
        band = f"track, taken to be {shown.length_text(track.band_m)} wide"
    rows = [("band", band), ("way", "driven this way")]
    most: dict[str, float] = {}
    for stretch in uncertain_stretches(track):
        most[stretch.kind] = max(most.get(stretch.kind, 0.0), stretch.sigma_m)
    rows += [
        (f"{kind}-line", f"{_KINDS[kind]}, ±{shown.length_text(sigma, 1)}")
        for kind, sigma in most.items()
    ]
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
    begin_m, length = track.timed_from.chainage_m, units().length_text
    rows = []
    for sector in sectors:
        end_m = begin_m + sector.length_m
        rows.append(
            (
                str(sector.number),
                length(begin_m, 1),
                length(end_m, 1),
                length(sector.length_m, 1),
            )
        )
        begin_m = end_m
    return tuple(rows)
