"""The gates of a track as CSV, one row a gate."""

from __future__ import annotations

from trackkit.export.features import gate_bearing_deg, gate_middle
from trackkit.files import csv_text
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.recordings.write import DEGREE_DECIMALS
from trackkit.recordings.xml import xml_text
from trackkit.track.credit import credits_of
from trackkit.track.features import Gate
from trackkit.track.model import Track

_PLACES = (
    "left_longitude_deg",
    "left_latitude_deg",
    "right_longitude_deg",
    "right_latitude_deg",
    "middle_longitude_deg",
    "middle_latitude_deg",
)
_DECIMALS = {
    "chainage_m": 2,
    **dict.fromkeys(_PLACES, DEGREE_DECIMALS),
    "bearing_deg": 2,
    "width_m": 3,
}
COLUMNS = ("id", "kind", "order", "name", *_DECIMALS)


def gates_csv(track: Track) -> str:
    """Write the gates of a track as CSV; its columns are `COLUMNS`, a credit and its licence."""
    data = "; ".join(xml_text(text) for text in credits_of(track))
    if not data:
        return csv_text(COLUMNS, map(_row, track.gates), _DECIMALS)
    licence = xml_text(track.licence or "")
    rows = ((*_row(gate), data, licence) for gate in track.gates)
    return csv_text((*COLUMNS, "credit", "licence"), rows, _DECIMALS)


def _row(gate: Gate) -> tuple[object, ...]:
    ends = (gate.left, gate.right, gate_middle(gate))
    return (
        xml_text(gate.id),
        gate.kind,
        gate.order,
        xml_text(gate.name),
        gate.chainage_m,
        *(degrees for place in ends for degrees in (float(wrap_longitude(place[0])), place[1])),
        # 359.999 rounds to 360, which is written 0.
        round(gate_bearing_deg(gate), 2) % 360.0,
        gate.width_m,
    )
