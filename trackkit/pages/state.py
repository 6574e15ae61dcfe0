"""What an editing page shows of a track: gates, sectors, laps and findings."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from trackkit.checks.evaluate import Evaluation, Prepared, evaluate
from trackkit.checks.findings import finding_row
from trackkit.errors import PlaceError
from trackkit.gates.placement import BESIDE_THE_TRACK
from trackkit.timing.report import LapReport
from trackkit.track.document import gate_row
from trackkit.track.model import Gate, Track, timed_gates


def datum_m(track: Track, prepared: Prepared) -> float:
    """Tell where along the prepared track's line another one of its ground begins, metres."""
    base = prepared.track
    if track.centreline is base.centreline:
        return 0.0
    line = track.centreline
    begin = base.plane.to_plane(float(line.longitude_deg[0]), float(line.latitude_deg[0]))
    where, _ = base.curve.project(begin, track.curve.direction(0.0))
    return float(where)


def state(track: Track, prepared: Prepared, moving: str | None = None) -> dict[str, Any]:
    """Describe gates, sectors, laps and findings for a page, ready for `json.dumps`.

    Parameters
    ----------
    track
        The prepared track, or one that came of it by changing gates.
    prepared
        See `trackkit.checks.evaluate.prepare`.
    moving
        See `trackkit.checks.evaluate.evaluate`.

    Returns
    -------
    dict
        Lengths in metres, times in seconds, positions as longitude and latitude.
    """
    known = evaluate(track, prepared, moving)
    return {
        "edit": 0,
        "base": 0,
        "unsaved": False,
        "can_undo": False,
        "can_redo": False,
        "undo_what": None,
        "redo_what": None,
        "datum_m": round(datum_m(track, prepared), 6),
        "light": not known.whole,
        "track": {
            "id": track.id,
            "name": track.name,
            "layout": track.layout,
            "direction": track.direction,
            "closed": track.closed,
            "length_m": round(track.curve.length_m, 3),
        },
        "gates": [_gate_row(known, gate) for gate in track.gates],
        "sectors": _sector_rows(track),
        "laps": [row for n, report in enumerate(known.reports) for row in _lap_rows(n, report)],
        "best": [
            {
                "recording": index,
                "best_lap_s": _seconds(report.best_lap_s),
                "theoretical_best_s": _seconds(report.theoretical_best_s),
                "continuous_best_s": _seconds(report.continuous_best_s),
            }
            for index, report in enumerate(known.reports)
        ],
        "findings": [finding_row(finding) for finding in known.findings],
        "remarks": [],
    }


def _gate_row(known: Evaluation, gate: Gate) -> dict[str, Any]:
    sigma = None
    if gate.kind not in BESIDE_THE_TRACK:
        sigma = float(known.quality.at(known.quality.sigma_s, gate.chainage_m))
    return {
        **gate_row(gate),
        "sigma_s": _seconds(sigma),
        "findings": [n for n, one in enumerate(known.findings) if one.feature == gate.id],
    }


def _sector_rows(track: Track) -> list[dict[str, Any]]:
    try:
        gates = timed_gates(track)
    except PlaceError:
        return []  # gate-missing says so
    if track.closed:
        gates.append(gates[0])
    length = track.curve.length_m
    rows = []
    for number, (begin, end) in enumerate(pairwise(gates), start=1):
        whole_lap = begin is end
        between = float(track.curve.along(begin.chainage_m, end.chainage_m))
        rows.append(
            {
                "number": number,
                "from": begin.id,
                "to": end.id,
                "length_m": round(length if whole_lap else between, 3),
            }
        )
    return rows


def _lap_rows(index: int, report: LapReport) -> list[dict[str, Any]]:
    return [
        {
            "recording": index,
            "number": lap.number,
            "kind": lap.kind,
            "complete": lap.complete,
            "start_s": _seconds(lap.start_s),
            "time_s": _seconds(lap.time_s),
            "sigma_s": _seconds(lap.sigma_s),
            "missed": list(lap.missed),
            "sectors": [
                {
                    "time_s": _seconds(sector.time_s),
                    "sigma_s": _seconds(sector.sigma_s),
                    "split_s": _seconds(sector.split_s),
                }
                for sector in lap.sectors
            ],
        }
        for lap in report.laps
    ]


def _seconds(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)
