"""Laps as rows: of JSON and of CSV."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from trackkit.files import csv_text
from trackkit.timing.best_marks import BestMarks, best_marks
from trackkit.timing.channel_figures import ChannelFigures
from trackkit.timing.channels import channel_cells, channel_columns
from trackkit.timing.crossings import Crossing
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.laps import Lap
from trackkit.timing.losses import SessionSections, losses_to
from trackkit.timing.remarks import LapRemark
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import (
    Difference,
    Reference,
    Session,
    lap_difference,
    local_time,
    passages,
    ranking,
    rfc3339,
    sector_differences,
)
from trackkit.track.model import Track


def session_row(
    track: Track, session: Session, reference: Reference | None, zone: ZoneInfo | None
) -> dict[str, Any]:
    """Write a session as ``laps --json`` does."""
    report, marks = session.report, best_marks(track, session)
    return {
        "file": session.file,
        "label": session.label,
        "start": rfc3339(report.start),
        "start_local": rfc3339(local_time(report.start, zone)),
        "shared": [
            {
                "with": shared.first,
                "kind": shared.kind,
                "whole": shared.whole,
                "apart_m": shared.apart_m,
                "text": shared.sentence,
            }
            for shared in report.shared
        ],
        "sessions": [_driving_row(report, driving, zone) for driving in report.sessions],
        "laps": [
            marked_row(lap_row(track, session, lap, reference, zone), track, lap, marks)
            for lap in report.laps
        ],
        **report.as_row(),
    }


def marked_row(row: dict[str, Any], track: Track, lap: Lap, marks: BestMarks) -> dict[str, Any]:
    """Add to a `lap_row` what of it is marked as the best of its recording, as "best"."""
    row["best"] = marks.of_lap(lap)
    for index, sector in enumerate(row["sectors"]):
        sector["best"] = marks.of_sector(lap, index)
    for gate, (_, crossing) in zip(row["gates"], passages(track, lap), strict=True):
        gate["best"] = None if crossing is None else marks.speeds.get(crossing)
    return row


def _driving_row(
    report: LapReport, driving: DrivingSession, zone: ZoneInfo | None
) -> dict[str, Any]:
    begin, end = report.time_of_day(driving.begin_s), report.time_of_day(driving.end_s)
    return {
        "number": driving.number,
        "begin_s": driving.begin_s,
        "end_s": driving.end_s,
        "begin": rfc3339(begin),
        "begin_local": rfc3339(local_time(begin, zone)),
        "end": rfc3339(end),
        "end_local": rfc3339(local_time(end, zone)),
        "ending": driving.ending,
        "for_s": driving.for_s,
        "why": driving.sentence,
    }


def lap_row(
    track: Track,
    session: Session,
    lap: Lap,
    reference: Reference | None = None,
    zone: ZoneInfo | None = None,
) -> dict[str, Any]:
    """Write a lap as ``laps --json`` does: its own row, times of day, differences and gates."""
    begun = None if lap.start_s is None else session.report.time_of_day(lap.start_s)
    row = lap.as_row()
    differences = sector_differences(session, lap, reference)
    return {
        **row,
        "begun": rfc3339(begun),
        "begun_local": rfc3339(local_time(begun, zone)),
        **_difference_row(lap_difference(session, lap, reference)),
        "channels": _channel_rows(lap.channels),
        "sectors": [
            {
                **sector,
                **_difference_row(difference),
                "channels": _channel_rows(lap.sectors[index].channels),
            }
            for index, (sector, difference) in enumerate(
                zip(row["sectors"], differences, strict=True)
            )
        ],
        "gates": [
            {
                "gate": gate,
                "at_s": None if crossing is None else crossing.time_s,
                "speed_mps": None if crossing is None else crossing.speed_mps,
                "speed_sigma_mps": None if crossing is None else crossing.speed_sigma_mps,
            }
            for gate, crossing in passages(track, lap)
        ],
    }


def _channel_rows(channels: Iterable[ChannelFigures]) -> list[dict[str, Any]]:
    return [figures.as_row() for figures in channels]


def _difference_row(difference: Difference | None) -> dict[str, float | None]:
    return {
        "difference_s": None if difference is None else difference.time_s,
        "difference_sigma_s": None if difference is None else difference.sigma_s,
    }


def add_losses(
    row: dict[str, Any],
    session: Session,
    sessions: Sequence[Session],
    sections: Sequence[SessionSections],
    reference: Reference,
) -> None:
    """Add to each lap of a `session_row` where it lost time to the reference lap, as "losses".

    They are largest first, and None where a lap was not driven from line to line past every gate.
    """
    for lap_of_row, lap in zip(row["laps"], session.report.laps, strict=True):
        lost = losses_to(reference, sessions, sections, session, lap)
        lap_of_row["losses"] = None if lost is None else [loss.as_row() for loss in lost]


def ranking_rows(sessions: Sequence[Session]) -> list[dict[str, Any]]:
    """Write the ranking as ``laps --json`` does; differences are to the fastest lap."""
    ranked = ranking(sessions)
    return [
        {
            "rank": rank,
            "file": ranked_lap.session.file,
            "label": ranked_lap.session.label,
            "session": ranked_lap.lap.session,
            "lap": ranked_lap.lap.number,
            "time_s": ranked_lap.lap.time_s,
            "sigma_s": ranked_lap.lap.sigma_s,
            **_difference_row(lap_difference(ranked_lap.session, ranked_lap.lap, ranked[0])),
        }
        for rank, ranked_lap in enumerate(ranked, start=1)
    ]


CSV_COLUMNS = (
    "file",
    "label",
    "lap",
    "kind",
    "complete",
    "part",
    "part_number",
    "gate",
    "gate_name",
    "begun",
    "begun_local",
    "start_s",
    "time_s",
    "sigma_s",
    "split_s",
    "difference_s",
    "difference_sigma_s",
    "top_mps",
    "lowest_mps",
    "gate_speed_mps",
    "missed",
    "pit_time_s",
    "pit_speed_mps",
    "session",
    "counts",
    "remarks",
    "track",
    "best",
    "gate_speed_sigma_mps",
)
"""`gate` is where the part ends, or the speed gate itself; `gate_speed_mps` is the speed there.
`counts` of a sector says whether it may be the best sector; `best` is "alone" or "equal" where the
lap, the sector or the passing of a speed gate is the best of its recording, or cannot be told from
that."""


def laps_csv(
    track: Track,
    sessions: Sequence[Session],
    reference: Reference | None,
    zone: ZoneInfo | None,
    channels: Sequence[str] = (),
) -> str:
    """Write laps as CSV: rows for each lap, each of its sectors, and each passing of a speed gate.

    `begun`, `begun_local` and `start_s` tell when the part began, or the speed gate was passed.
    The figures of `channels`, by name and unit, stand in the last columns.
    """
    columns = (*CSV_COLUMNS, *channel_columns(channels))
    every_mark = [best_marks(track, session) for session in sessions]
    return csv_text(
        columns,
        (
            [row.get(column) for column in columns]
            for session, marks in zip(sessions, every_mark, strict=True)
            for lap in session.report.laps
            for row in _rows(track, session, lap, reference, zone, marks)
        ),
    )


def _texts(remarks: Iterable[LapRemark]) -> str:
    return "; ".join(remark.text for remark in remarks)


def _rows(
    track: Track,
    session: Session,
    lap: Lap,
    reference: Reference | None,
    zone: ZoneInfo | None,
    marks: BestMarks,
) -> Iterator[dict[str, object]]:
    row = marked_row(lap_row(track, session, lap, reference, zone), track, lap, marks)
    every = passages(track, lap)
    timed, speeds = every[: len(lap.passed)], every[len(lap.passed) :]

    def part(
        name: str, end: tuple[str, Crossing | None], begun_s: float | None
    ) -> dict[str, object]:
        gate, crossing = end
        moment = None if begun_s is None else session.report.time_of_day(begun_s)
        return {
            "file": session.file,
            "label": session.label,
            "track": track.id,
            "session": lap.session,
            "lap": lap.number,
            "kind": lap.kind,
            "complete": lap.complete,
            "part": name,
            "gate": gate,
            "gate_name": track.gate(gate).name,
            "gate_speed_mps": None if crossing is None else crossing.speed_mps,
            "gate_speed_sigma_mps": None if crossing is None else crossing.speed_sigma_mps,
            "start_s": begun_s,
            "begun": rfc3339(moment),
            "begun_local": rfc3339(local_time(moment, zone)),
        }

    yield {
        **row,
        **part("lap", timed[-1], lap.start_s),
        "split_s": lap.time_s,
        "missed": " ".join(lap.missed),
        "remarks": _texts(lap.remarks),
        **channel_cells(lap.channels),
    }
    for index, sector in enumerate(row["sectors"]):
        begun = lap.passed[index]
        of_part = part("sector", timed[index + 1], None if begun is None else begun.time_s)
        spoiling = [remark for remark in lap.remarks if index in remark.sectors]
        clean = lap.is_whole and lap.is_clean(index)
        yield {
            **sector,
            **of_part,
            "part_number": index + 1,
            "counts": lap.counts or clean,
            "remarks": _texts(spoiling),
            **channel_cells(lap.sectors[index].channels),
        }
    start = lap.passed[0]
    for gate, crossing in speeds:
        if crossing is not None:
            split = None if start is None else crossing.time_s - start.time_s
            of_part = part("speed gate", (gate, crossing), crossing.time_s)
            yield {**of_part, "split_s": split, "best": marks.speeds.get(crossing)}
