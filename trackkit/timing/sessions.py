"""Laps of one or several recordings compared: reference lap, differences, ranking."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from trackkit.errors import TrackkitError
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.track.crossed import timed_gates
from trackkit.track.model import Track

APART_S = 60.0
"""The errors of lap times that lie farther apart than this are taken to be independent."""


@dataclass(frozen=True, eq=False)
class Session:
    """The laps of one recording, under the user's label for it.

    Parameters
    ----------
    file
        As the user gave it.
    label
        The driver, the kart or the session, in the user's words; the file where none was given.
    report
        Its laps.
    """

    file: str
    label: str
    report: LapReport


@dataclass(frozen=True, eq=False)
class Reference:
    """The lap that others are compared with, and the session it is of."""

    session: Session
    lap: Lap


@dataclass(frozen=True)
class Difference:
    """By how much a time is longer than another, and its uncertainty, one sigma, seconds."""

    time_s: float
    sigma_s: float


def choose_reference(sessions: Sequence[Session], wanted: str | None = None) -> Reference | None:
    """Choose the lap that others are compared with.

    Parameters
    ----------
    sessions
        All of them.
    wanted
        ``N``, ``SESSION.N`` where the recording holds several sessions, or either after
        ``RECORDING:``, a recording being its file or its label; None for the fastest lap of all
        that counts.

    Raises
    ------
    TrackkitError
        When there is no such lap with a time, or more than one recording it may be of.
    """
    if wanted is None:
        best = ranking(sessions)
        return best[0] if best else None
    name, _, number = wanted.rpartition(":")
    in_session, _, lap_number = number.rpartition(".")
    if not lap_number.isdecimal() or not (in_session.isdecimal() or not in_session):
        raise TrackkitError(
            f"the reference lap {wanted!r} has no lap number",
            remedy="write 3, or 2.3 for lap 3 of session 2, or session.csv:3 where there are "
            "several recordings",
        )
    session = _named(sessions, name, number)
    timed = [lap for lap in session.report.laps if lap.time_s is not None]
    matching = [
        lap
        for lap in timed
        if lap.number == int(lap_number) and (not in_session or lap.session == int(in_session))
    ]
    if len(matching) == 1:
        return Reference(session, matching[0])
    if matching:
        raise TrackkitError(
            f"has a lap {number} in several sessions",
            file=session.file,
            remedy=f"write one of {', '.join(f'{lap.session}.{lap.number}' for lap in matching)}",
        )
    names = [lap_name(session.report, lap) for lap in timed]
    raise TrackkitError(
        f"has no lap {number} with a time to compare with",
        file=session.file,
        remedy=f"laps with a time are {', '.join(names)}" if timed else "no lap of it has a time",
    )


def lap_name(report: LapReport, lap: Lap) -> str:
    """Name a lap: by its number, after that of its session where there are several, as 2.5."""
    return f"{lap.session}.{lap.number}" if len(report.sessions) > 1 else str(lap.number)


def _named(sessions: Sequence[Session], name: str, number: str) -> Session:
    matching = list(sessions)
    if name:
        matching = [session for session in sessions if name in (session.file, session.label)] or [
            session for session in sessions if name == Path(session.file).name
        ]
    if len(matching) == 1:
        return matching[0]
    choices = ", ".join(f"{session.label}:{number}" for session in sessions)
    if matching:
        raise TrackkitError(
            f"lap {number} of which recording is the reference?", remedy=f"write one of {choices}"
        )
    raise TrackkitError(
        f"the reference lap's recording {name!r} is not among those that were timed",
        remedy=f"write one of {choices}" if choices else None,
    )


def ranking(sessions: Iterable[Session]) -> list[Reference]:
    """Order the laps that count of all recordings, the fastest first."""
    laps = [Reference(session, lap) for session in sessions for lap in session.report.counted]
    return sorted(laps, key=lambda ranked: ranked.lap.time_s or math.inf)


def lap_difference(session: Session, lap: Lap, reference: Reference | None) -> Difference | None:
    """Compare a lap's time with the reference lap's; None where either has none."""
    ends = (lap.passed[0], lap.passed[-1])
    if reference is None:
        return None
    others = (reference.lap.passed[0], reference.lap.passed[-1])
    return _difference(session, ends, reference.session, others)


def sector_differences(
    session: Session, lap: Lap, reference: Reference | None
) -> list[Difference | None]:
    """Compare each sector of a lap with the same one of the reference lap."""
    if reference is None:
        return [None] * len(lap.sectors)
    return [
        _difference(session, ends, reference.session, others, apart_s=math.inf)
        for ends, others in zip(_sectors(lap), _sectors(reference.lap), strict=True)
    ]


def sector_difference(
    session: Session, lap: Lap, reference: Reference, sector: int
) -> Difference | None:
    """Compare one sector of a lap, by its place from 0, with that of the reference lap."""
    ends, others = (each.passed[sector : sector + 2] for each in (lap, reference.lap))
    return _difference(
        session, (ends[0], ends[1]), reference.session, (others[0], others[1]), apart_s=math.inf
    )


_Ends = tuple[Crossing | None, Crossing | None]


def _sectors(lap: Lap) -> list[_Ends]:
    return list(zip(lap.passed[:-1], lap.passed[1:], strict=True))


def _difference(
    session: Session,
    ends: _Ends,
    other_session: Session,
    others: _Ends,
    *,
    apart_s: float = APART_S,
) -> Difference | None:
    """Subtract one interval from another.

    The errors of intervals of one drive are correlated, and the variance of the difference is
    taken as a whole.  Those of other drives, and those farther apart than `apart_s`, add in
    quadrature (JCGM 100, "GUM", sections 5.1 and 5.2; from memory).  Sectors are correlated
    however far apart: a wander that stays the same makes the same sector of all laps too long by
    the same time.
    """
    (start, end), (other_start, other_end) = ends, others
    if start is None or end is None or other_start is None or other_end is None:
        return None
    report, other = session.report, other_session.report
    time = (end.time_s - start.time_s) - (other_end.time_s - other_start.time_s)
    terms = [(end, 1.0), (start, -1.0)]
    minus = [(other_end, -1.0), (other_start, 1.0)]
    gap = max(start.time_s - other_end.time_s, other_start.time_s - end.time_s)
    if report is other and gap < apart_s:
        return Difference(time, report.sigma_of([*terms, *minus]))
    return Difference(time, math.hypot(report.sigma_of(terms), other.sigma_of(minus)))


# Times of day


def time_zone(track: Track) -> ZoneInfo | None:
    """Return the track's own time zone, or None where its file names none.

    Raises
    ------
    TrackkitError
        When this computer does not know the zone.
    """
    if track.timezone is None:
        return None
    try:
        return ZoneInfo(track.timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise TrackkitError(
            f"the time zone {track.timezone!r} of the track is not known here",
            remedy="times of day are in UTC only; install the package tzdata, or correct it",
        ) from error


def rfc3339(moment: datetime | None) -> str | None:
    """Write a time of day with its offset from UTC, which is ``Z`` for UTC itself."""
    return None if moment is None else moment.isoformat().replace("+00:00", "Z")


def local_time(moment: datetime | None, zone: ZoneInfo | None) -> datetime | None:
    """Turn a time of day, UTC, into the zone's; None where either is unknown."""
    return None if moment is None or zone is None else moment.astimezone(zone)


def passages(track: Track, lap: Lap) -> list[tuple[str, Crossing | None]]:
    """List the gates of a lap, those of kind "speed" among them, and how each was passed.

    Timed gates come in racing order, then speed gates; None where a gate was not passed.
    """
    gates = [gate.id for gate in timed_gates(track)]
    lap_gates = [*gates, gates[0]] if track.closed else gates
    listed: list[tuple[str, Crossing | None]] = list(zip(lap_gates, lap.passed, strict=True))
    for gate in track.gates_of_kind("speed"):
        crossings = [crossing for crossing in lap.speed_gates if crossing.gate == gate.id]
        listed += [(gate.id, crossing) for crossing in crossings] or [(gate.id, None)]
    return listed
