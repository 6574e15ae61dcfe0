"""What an editing page shows of a track: gates, sectors, laps and findings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from trackkit.checks.evaluate import Evaluation, Prepared, carried, evaluate
from trackkit.checks.findings import Finding
from trackkit.checks.verdict import Judgement, judge_track, stored_verdict
from trackkit.errors import PlaceError
from trackkit.geometry.geodesy import longitude_near
from trackkit.geometry.vectors import distance_along
from trackkit.pages.base import quality_row
from trackkit.pages.nearby import Shown
from trackkit.track.features import BESIDE_THE_TRACK, Gate, PitLane
from trackkit.track.model import Track
from trackkit.track.names import names_in
from trackkit.track.sectors import sectors_of
from trackkit.units import as_read


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
    return state_of(track, prepared, evaluate(track, prepared, moving))


def state_of(
    track: Track,
    prepared: Prepared,
    evaluation: Evaluation,
    shown: Sequence[Shown] | None = None,
) -> dict[str, Any]:
    """Describe the same of a track that is evaluated already.

    Parameters
    ----------
    track, prepared
        As for `state`.
    evaluation
        What was made of the track's gates.
    shown
        What of each recording is shown; everything when None.
    """
    parts = shown or [None] * len(evaluation.reports)
    reports = list(enumerate(zip(evaluation.reports, parts, strict=False)))
    return {
        "edit": 0,
        "base": 0,
        "unsaved": False,
        "can_undo": False,
        "can_redo": False,
        "undo_what": None,
        "redo_what": None,
        "datum_m": round(datum_m(track, prepared), 6),
        "light": not evaluation.whole,
        "track": track.as_row() | {"length_m": round(track.curve.length_m, 3)},
        "facts": {
            "country": track.country,
            "timezone": track.timezone,
            "licence": track.licence,
            "valid_from": track.valid_from,
            "valid_until": track.valid_until,
            "notes": track.notes,
        },
        "corners": [
            {"id": corner.id, "number": corner.number, "name": corner.name}
            for corner in track.corners
        ],
        "pit_lanes": [_lane_row(track, lane) for lane in track.pit_lanes],
        "quality": _quality_row(track, prepared, evaluation),
        "gates": [_gate_row(evaluation, gate) for gate in track.gates],
        "sectors": _sector_rows(track),
        "laps": [
            {
                "recording": index,
                **_short(lap.as_row() if part is None else part.of_lap(lap.as_row(), lap)),
            }
            for index, (report, part) in reports
            for lap in report.laps
        ],
        "best": [
            {
                "recording": index,
                **_short(report.as_row() if part is None else part.of_best(report.as_row())),
            }
            for index, (report, part) in reports
        ],
        "findings": finding_rows(track, evaluation.findings),
        "verdict": _verdict_row(track, prepared, evaluation),
        "remarks": [],
    }


def _verdict_row(track: Track, prepared: Prepared, evaluation: Evaluation) -> dict[str, Any] | None:
    """Judge the track anew; None while a gate is dragged, as not all is judged then."""
    if not evaluation.whole:
        return None
    judgement = judged(track, prepared, evaluation)
    stored = stored_verdict(track)
    row = judgement.as_row()
    row |= {key: worded(track, row[key]) for key in ("reasons", "next", "remarks")}
    # A page that says when it was made would differ from one day to the next.
    kept = {key: row[key] for key in ("fit", "reasons", "next", "remarks", "letters")}
    return kept | {"judged_on": None if stored is None else stored.date}


def worded(track: Track, text: Any) -> Any:
    """Word a sentence, or each of several, about a track in the units that people read."""
    if isinstance(text, list | tuple):
        return [worded(track, each) for each in text]
    return None if text is None else as_read(text, names_in(track))


def finding_rows(track: Track, findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Describe findings for people: their sentences in the units that those read."""
    rows = [finding.as_row() for finding in findings]
    return [row | {key: worded(track, row[key]) for key in ("message", "remedy")} for row in rows]


def judged(track: Track, prepared: Prepared, evaluation: Evaluation) -> Judgement:
    """Judge a track by what was found in it."""
    return judge_track(track, evaluation.findings, recorded=bool(prepared.timed))


def _gate_row(evaluation: Evaluation, gate: Gate) -> dict[str, Any]:
    sigma = None
    if gate.kind not in BESIDE_THE_TRACK:
        quality = evaluation.quality
        sigma = float(quality.at(quality.sigma_s, gate.chainage_m))
    return {
        **gate.as_row(),
        "sigma_s": _short(sigma),
        "findings": [
            number
            for number, finding in enumerate(evaluation.findings)
            if finding.feature == gate.id
        ],
    }


def _quality_row(track: Track, prepared: Prepared, evaluation: Evaluation) -> dict[str, Any] | None:
    """Describe what places are worth where the pit lane is not as prepared; gates change nothing.

    What is driven in the pit lane counts for no place of the line.
    """
    if track.pit_lanes == prepared.track.pit_lanes:
        return None
    return quality_row(carried(evaluation.quality, prepared.track))


def _lane_row(track: Track, lane: PitLane) -> dict[str, Any]:
    """Describe a pit lane; longitudes are counted on around the track's own."""
    longitude = longitude_near(lane.longitude_deg, track.plane.longitude_deg)
    vertex = track.plane.to_plane(longitude, lane.latitude_deg)
    row = [
        [round(east, 8), round(north, 8)]
        for east, north in zip(longitude.tolist(), lane.latitude_deg.tolist(), strict=True)
    ]
    return {"id": lane.id, "length_m": round(float(distance_along(vertex)[-1]), 1), "line": row}


def _sector_rows(track: Track) -> list[dict[str, Any]]:
    try:
        return [sector.as_row() for sector in sectors_of(track)]
    except PlaceError:
        return []  # gate-missing says so


def _short(value: Any) -> Any:
    """Round the numbers of a row to a millionth; a page has many, and shows thousandths."""
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    if isinstance(value, list):
        return [_short(part) for part in value]
    if isinstance(value, dict):
        return {key: _short(part) for key, part in value.items()}
    return value
