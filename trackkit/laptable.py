"""Laps as a flat table, for spreadsheets and other programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from trackkit.crossings import Crossing
from trackkit.lapreport import Reference, Session, lap_row, local_time, passages, rfc3339
from trackkit.lapsequence import Lap
from trackkit.spreadsheet import csv_text
from trackkit.track import Track

CSV_COLUMNS = (
    "file", "label", "lap", "kind", "complete", "part", "part_number", "gate", "gate_name",
    "begun", "begun_local", "start_s", "time_s", "sigma_s", "split_s", "difference_s",
    "difference_sigma_s", "top_mps", "lowest_mps", "gate_speed_mps", "missed",
)  # fmt: skip
"""`gate` is the one the part ends at, `gate_speed_mps` the speed there; of a speed gate, itself."""


def laps_csv(
    track: Track,
    sessions: Sequence[Session],
    reference: Reference | None,
    zone: ZoneInfo | None,
) -> str:
    """Write laps as CSV: rows for each lap, each of its sectors, and each passing of a speed gate.

    `begun`, `begun_local` and `start_s` tell when the part began, or the speed gate was passed.
    """
    return csv_text(
        CSV_COLUMNS,
        (
            [row.get(column) for column in CSV_COLUMNS]
            for session in sessions
            for lap in session.report.laps
            for row in _rows(track, session, lap, reference, zone)
        ),
    )


def _rows(
    track: Track, session: Session, lap: Lap, reference: Reference | None, zone: ZoneInfo | None
) -> Iterator[dict[str, object]]:
    told = lap_row(track, session, lap, reference, zone)
    every = passages(track, lap)
    timed, speeds = every[: len(lap.passed)], every[len(lap.passed) :]

    def part(
        name: str, end: tuple[str, Crossing | None], begun_s: float | None
    ) -> dict[str, object]:
        gate, crossing = end
        moment = None if begun_s is None else session.report.recording.time_of_day(begun_s)
        return {
            "file": session.file,
            "label": session.label,
            "lap": lap.number,
            "kind": lap.kind,
            "complete": lap.complete,
            "part": name,
            "gate": gate,
            "gate_name": track.gate(gate).name,
            "gate_speed_mps": None if crossing is None else crossing.speed_mps,
            "start_s": begun_s,
            "begun": rfc3339(moment),
            "begun_local": rfc3339(local_time(moment, zone)),
        }

    yield {
        **told,
        **part("lap", timed[-1], lap.start_s),
        "split_s": lap.time_s,
        "missed": " ".join(lap.missed),
    }
    for index, sector in enumerate(told["sectors"]):
        begun = lap.passed[index]
        row = part("sector", timed[index + 1], None if begun is None else begun.time_s)
        yield {**sector, **row, "part_number": index + 1}
    start = lap.passed[0]
    for gate, crossing in speeds:
        if crossing is not None:
            split = None if start is None else crossing.time_s - start.time_s
            row = part("speed gate", (gate, crossing), crossing.time_s)
            yield {**row, "split_s": split}
