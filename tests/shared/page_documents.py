"""Documents of a page, and answers of Python's, that the page's own tests read.

    python tests/shared/page_documents.py

writes them again, to trackkit/pages/web/test/documents.  The circuit is an invented sample, the
recording is simulated.
"""

from __future__ import annotations

import json
import re
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.checks.evaluate import evaluate, prepare
from trackkit.checks.findings import Finding
from trackkit.cli.common import duration
from trackkit.gates.square import square_ends
from trackkit.pages.base import base_document
from trackkit.pages.comparison import comparison_document
from trackkit.pages.driven_day import day_document
from trackkit.pages.state import state
from trackkit.remedies import Remedy
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.decimals import decimals
from trackkit.timing.differences import TimeDifference, time_difference
from trackkit.timing.losses import lap_losses
from trackkit.timing.report import LapReport
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.units import UNITS

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "trackkit" / "pages" / "web" / "test" / "documents"
SIGMAS_S = (
    *(0.0005, 0.00094, 0.00096, 0.0049, 0.0094, 0.00951, 0.0099, 0.00996, 0.0349, 0.0951, 0.0949),
    *(0.0996, 0.0994, 0.24, 0.95, 0.994, 0.996, 1.0, 4.2, 9.94, 9.96, 99.4, 99.5, 120.0, None, 0.0),
)
TIMES_S = (0.0, 0.0004, 0.5, 1.5, 2.5, 0.125, 0.375, 9.9996, 47.132, 59.9994, 59.9996, 60.0, 65.0)
SPEEDS_MPS = (0.0, 1.0, 12.3, 27.7777778, 55.0, 99.9)
LENGTHS_M = (0.0, 0.7, 12.3, 933.47, 1234.56, 20_123.4)
LONG_TIMES_S = (75.25, 119.9996, 600.0, 3599.5, 3661.125)


def page_documents() -> dict[str, Any]:
    """Make the documents afresh, by the name of their files."""
    track = read_track(ROOT / "tracks" / "pipwick-kart-circuit.geojson")
    recording = simulate_drive(track, laps=3, rate_hz=5.0, seed=11).recording
    prepared = prepare(track, [recording], ["drive.csv"])
    known = evaluate(track, prepared)
    laps = [report.laps for report in known.reports]
    driven = list(zip(prepared.drives, laps, strict=True))
    base = base_document(track, driven, known.quality, drivers=["Ada"])
    base["comparison"] = comparison_document(track, driven)
    base["day"] = day_document(known.reports, ["Ada"])
    shown = state(track, prepared)
    sector = track.gates_of_kind("sector")[0]
    findings = [
        Finding("warning", "askew", sector.id, None, None, "Not square", Remedy("Turn it"), True),
        Finding("error", "near", None, 120.0, None, "Another piece is near", Remedy("Mend `it`")),
        Finding("note", "gate-quality", sector.id, None, None, "Could be surer", Remedy("Move it")),
    ]
    shown["findings"] = [finding.as_row() for finding in findings]
    for gate in shown["gates"]:
        gate["findings"] = [n for n, one in enumerate(findings) if one.feature == gate["id"]]
    places = np.random.default_rng(4).uniform(0.0, track.curve.length_m, 60).round(1)
    return {
        "base": base,
        "state": shown,
        "answers": {
            "decimals": [[sigma, decimals(sigma)] for sigma in SIGMAS_S],
            "durations": [
                [seconds, digits, duration(seconds, digits)]
                for seconds in (*TIMES_S, *LONG_TIMES_S)
                for digits in range(4)
            ],
            "units": [
                {
                    "units": {
                        "speed": shown.speed,
                        "speed_per_mps": shown.speed_per_mps,
                        "length": shown.length,
                        "length_per_m": shown.length_per_m,
                    },
                    "speeds": [[mps, shown.speed_text(mps)] for mps in SPEEDS_MPS],
                    "lengths": [
                        [length_m, digits, shown.length_text(length_m, digits)]
                        for length_m in LENGTHS_M
                        for digits in (0, 1)
                    ],
                }
                for shown in UNITS.values()
            ],
            "square_ends": [
                [place, width, list(square_ends(track, place, width)[:2])]
                for place in places.tolist()
                for width in (0.5, 12.0, 20.0, 60.0)
            ],
            "compared": _compared(track, known.reports[0]),
            "sigma_s": [
                [place, float(known.quality.at(known.quality.sigma_s, place))]
                for place in places.tolist()
            ],
        },
    }


def _compared(track: Track, report: LapReport) -> list[dict[str, Any]]:
    """What Python makes of one lap against another: losses by section, and the difference."""
    compared = []
    for lap, other in permutations(report.counted, 2):
        difference = time_difference(track, report, lap, report, other)
        compared.append(
            {
                "lap": [lap.session, lap.number],
                "other": [other.session, other.number],
                "losses": [
                    [loss.section.kind, loss.section.begin_m, loss.time_s, loss.sigma_s]
                    for loss in lap_losses(track, report, lap, report, other)
                ],
                "difference": [
                    [float(column[k]) for column in (difference.chainage_m, *_band(difference))]
                    for k in range(40, len(difference.chainage_m) - 10, 10)
                ],
            }
        )
    return compared


def _band(difference: TimeDifference) -> tuple[Floats, Floats]:
    return difference.time_s, difference.sigma_s


def main() -> None:
    """Write the documents."""
    FOLDER.mkdir(exist_ok=True)
    for name, document in page_documents().items():
        text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        # A row a line, so that what changes shows.
        text = re.sub(r"(?<=[]}]),(?=[\[{\"])", ",\n", text)
        (FOLDER / f"{name}.json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main()
