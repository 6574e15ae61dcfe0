"""Laps and time on track that several recordings hold, counted once where they are summed up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from trackkit.timing.laps import Lap
from trackkit.timing.remarks import LapRemark
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import Session

_TWIN_SHARE = 0.5
"""Laps that begin nearer to each other than this share of a lap are the same one."""


def set_aside_for(lap: Lap, other: str) -> Lap:
    """Set a lap aside that counts in another recording, given by its name."""
    every = tuple(range(len(lap.sectors)))
    remark = LapRemark("elsewhere", f"counted in {other}", sectors=every)
    return replace(lap, remarks=(*lap.remarks, remark), set_aside=True)


def is_copy(report: LapReport) -> bool:
    """Tell whether a recording holds nothing that another before it does not hold."""
    return any(part.whole for part in report.shared)


def is_elsewhere(lap: Lap) -> bool:
    """Tell whether a lap counts in another recording."""
    return any(remark.kind == "elsewhere" for remark in lap.remarks)


def driven_once(sessions: Sequence[Session], drivers: Mapping[str, str]) -> list[Session]:
    """Have each lap that two receivers recorded count in the one that knows its time better.

    Parameters
    ----------
    sessions
        The recordings of one circuit.
    drivers
        Who drove in each, by file.  Where that is somebody else, the vehicles drove close to each
        other, and both count.

    Returns
    -------
    list of Session
        The same, with laps set aside.
    """
    aside: dict[tuple[str, int, int], str] = {}
    for first, second in combinations(sessions, 2):
        if _one_vehicle(first, second, drivers):
            for lap, twin in _twins(first.report, second.report):
                worse = second if (lap.sigma_s or 0.0) <= (twin.sigma_s or 0.0) else first
                better = first if worse is second else second
                out = twin if worse is second else lap
                aside.setdefault((worse.report.name, out.session, out.number), better.report.name)
    return [_without(session, aside) for session in sessions]


def _one_vehicle(first: Session, second: Session, drivers: Mapping[str, str]) -> bool:
    names = {drivers.get(session.file) for session in (first, second)} - {None}
    shared = (part for part in second.report.shared if part.first == first.report.name)
    return len(names) < 2 and any(part.kind == "receivers" for part in shared)


def _twins(first: LapReport, second: LapReport) -> Iterator[tuple[Lap, Lap]]:
    if first.start is None or second.start is None:
        return
    later_s = (second.start - first.start).total_seconds()
    for twin in second.counted:
        for lap in first.counted:
            if lap.start_s is None or twin.start_s is None or twin.time_s is None:
                continue
            if abs(twin.start_s + later_s - lap.start_s) < _TWIN_SHARE * twin.time_s:
                yield lap, twin
                break


def _without(session: Session, aside: Mapping[tuple[str, int, int], str]) -> Session:
    report = session.report

    def other(lap: Lap) -> str | None:
        return aside.get((report.name, lap.session, lap.number))

    if not any(other(lap) for lap in report.laps):
        return session
    laps = [set_aside_for(lap, name) if (name := other(lap)) else lap for lap in report.laps]
    return replace(session, report=report.of_laps(laps))


def on_track_s(sessions: Sequence[Session], drivers: Mapping[str, str]) -> float:
    """Add up the time of all sessions, seconds, of what several recordings hold once.

    Parameters
    ----------
    sessions
        The recordings to be summed up.  What a copy holds counts where the first holds it, among
        them or not; what a second receiver recorded only where the first is among them.
    drivers
        Who drove in each, by file.
    """
    total = 0.0
    for place, session in enumerate(sessions):
        report = session.report
        begin_s = 0.0 if report.start is None else report.start.timestamp()
        beside = {s.report.name for s in sessions[:place] if _one_vehicle(s, session, drivers)}
        spans = [
            (part.begin_s - begin_s, part.end_s - begin_s)
            for part in report.shared
            if part.kind == "same" or part.first in beside
        ]
        if is_copy(report):
            continue
        for driving in report.sessions:
            total += driving.end_s - driving.begin_s
            total -= _covered_s(spans, driving.begin_s, driving.end_s)
    return total


def _covered_s(spans_s: Iterable[tuple[float, float]], begin_s: float, end_s: float) -> float:
    """Length of what some spans cover of a time, seconds; spans may overlap each other."""
    covered, until_s = 0.0, begin_s
    for low_s, high_s in sorted(spans_s):
        low_s, high_s = max(low_s, until_s), min(high_s, end_s)
        if high_s > low_s:
            covered += high_s - low_s
            until_s = high_s
    return covered
