"""Where a lap lost time to another: by corner and straight, each loss with its uncertainty."""

from __future__ import annotations

import math
import reprlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.fix_covariance import FixCovariance
from trackkit.timing.crossings import Crossing
from trackkit.timing.differences import later, later_sigma
from trackkit.timing.laps import Lap
from trackkit.timing.passings import passings
from trackkit.timing.report import LapReport
from trackkit.timing.section_speeds import SectionSpeeds, section_speeds
from trackkit.timing.sessions import Reference, Session
from trackkit.timing.traces import lap_ends_m
from trackkit.track.model import Track

_SHORTEST_M = 1.0


@dataclass(frozen=True)
class Section:
    """A corner's way in, its way out, or a straight; together they are the whole lap.

    Parameters
    ----------
    kind
        A straight ends where the corner begins, braking for it included; the way into a corner
        ends at its apex.
    name
        The corner's name or number, of a straight those on either side, as the track file has them.
    begin_m, end_m
        Chainages, metres.
    """

    kind: Literal["straight", "corner entry", "corner exit"]
    name: str
    begin_m: float
    end_m: float


@dataclass(frozen=True, eq=False)
class LapSections:
    """A lap by its sections.

    Parameters
    ----------
    passed
        The crossings that sections begin and end at, one more than there are sections.
    speeds
        Of each section.
    """

    passed: tuple[Crossing | None, ...]
    speeds: tuple[SectionSpeeds, ...]


@dataclass(frozen=True, eq=False)
class SessionSections:
    """The laps of a recording by their sections, and what tells how well sums of times are known.

    Parameters
    ----------
    sections
        Of the track.
    laps
        By the numbers of session and lap.
    kept
        Covariance of the passings of all of them.
    """

    sections: tuple[Section, ...]
    laps: dict[tuple[int, int], LapSections]
    kept: FixCovariance


@dataclass(frozen=True)
class Loss:
    """What a lap lost to another in a section.

    Parameters
    ----------
    section
        Where.
    time_s, sigma_s
        Lost time, negative where it was won, and its uncertainty, one sigma; seconds.
    speeds, other_speeds
        How either lap drove it.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> fast, slow = sorted(report.counted, key=lambda lap: lap.time_s)
    >>> losses = trackkit.lap_losses(track, report, slow, report, fast)
    >>> losses[0].section.kind, losses[0].time_s >= losses[-1].time_s
    ('straight', True)
    """

    section: Section
    time_s: float
    sigma_s: float
    speeds: SectionSpeeds
    other_speeds: SectionSpeeds

    def __repr__(self) -> str:
        name = reprlib.repr(self.section.name)
        return f"Loss({name}, {self.time_s:+.3f} ±{self.sigma_s:.3f} s)"

    def as_row(self) -> dict[str, Any]:
        """Write the loss as JSON.

        Returns
        -------
        dict
            Times in seconds, chainages in metres, speeds in m/s; what is not known is null.
        """
        return {
            "kind": self.section.kind,
            "name": self.section.name,
            "begin_m": round(self.section.begin_m, 2),
            "end_m": round(self.section.end_m, 2),
            "time_s": self.time_s,
            "sigma_s": self.sigma_s,
            **_speeds_row(self.speeds, ""),
            **_speeds_row(self.other_speeds, "reference_"),
        }


def _speeds_row(speeds: SectionSpeeds, prefix: str) -> dict[str, float | None]:
    return {
        f"{prefix}least_mps": _figure(speeds.least_mps),
        f"{prefix}end_mps": _figure(speeds.end_mps),
        f"{prefix}least_sigma_mps": _figure(speeds.least_sigma_mps),
        f"{prefix}end_sigma_mps": _figure(speeds.end_sigma_mps),
        f"{prefix}braking_m": speeds.braking_m,
        f"{prefix}braking_sigma_m": speeds.braking_sigma_m,
    }


def _figure(value: float) -> float | None:
    return None if math.isnan(value) else value


def sections_of(track: Track) -> tuple[Section, ...]:
    """Cut a lap into its straights and the ways into and out of its corners.

    A corner across the finish, or the gate that laps begin at, is cut there.
    """
    begin_m, end_m = lap_ends_m(track)
    marks: list[tuple[float, Literal["straight", "corner entry", "corner exit"], str]] = []
    last = "after the finish" if track.closed else "after the start"
    corners = sorted(track.corners, key=lambda corner: corner.entry_m)
    for corner in corners:
        name = corner.name or f"corner {corner.number}"
        marks += [
            (corner.entry_m, "corner entry", name),
            (corner.apex_m, "corner exit", name),
            (corner.exit_m, "straight", f"after {name}"),
        ]
        last = f"after {name}" if corner is corners[-1] else last
    length = track.curve.length_m
    inside = [(m % length if track.closed else m, kind, name) for m, kind, name in marks]
    inside.sort(key=lambda mark: mark[0])
    # Before the first mark goes on what the last one of the lap before began.
    kind, name = (inside[-1][1], inside[-1][2]) if inside and track.closed else ("straight", last)
    sections: list[Section] = []
    at = begin_m
    for mark_m, next_kind, next_name in [*inside, (end_m, kind, name)]:
        upto = min(max(mark_m, at), end_m)
        if upto - at >= _SHORTEST_M or (upto == end_m and upto > at):
            sections.append(Section(kind, name, at, upto))
            at = upto
        kind, name = next_kind, next_name
    return tuple(sections)


def session_sections(
    track: Track, report: LapReport, laps: Iterable[Lap] | None = None
) -> SessionSections:
    """Lay the laps of a recording, or some of them, out by sections, while its drive is at hand.

    Raises
    ------
    TrackkitError
        When the report came without its drive.
    """
    sections, drive = sections_of(track), report.drive
    chosen = {_numbers(lap): lap for lap in (report.laps if laps is None else laps) if lap.is_whole}
    whole = [chosen[number] for number in sorted(chosen)]
    inner = [section.begin_m for section in sections[1:]]
    passed = [(lap.passed[0], *passings(track, drive, lap, inner), lap.passed[-1]) for lap in whole]
    places = [place for lap in passed for place in lap if place is not None]
    kept = drive.fix_covariance([place.fix for place in places])
    speeds = section_speeds(
        track,
        drive,
        whole,
        [(section.begin_m, section.end_m) for section in sections],
        [_position_left(kept, places[1:]) for places in passed],
    )
    laid_out = {
        _numbers(lap): LapSections(places, some)
        for lap, places, some in zip(whole, passed, speeds, strict=True)
    }
    return SessionSections(sections, laid_out, kept)


def _position_left(kept: FixCovariance, places: Sequence[Crossing | None]) -> Floats:
    """Share of a drive's error along the track that its laps have not told, at some places."""
    left = np.ones(len(places))
    if kept.error is None:
        return left
    alone = replace(kept, error=None)
    for at, place in enumerate(places):
        if place is not None:
            some = np.array([place.fix]), np.array([place.share]), np.array([place.delay])
            left[at] = np.sqrt(kept.variance(*some) / alone.variance(*some))
    return left


def losses(
    session: SessionSections,
    lap: tuple[int, int],
    other_session: SessionSections,
    other: tuple[int, int],
) -> tuple[Loss, ...]:
    """List where a lap lost time to another, the largest loss first.

    Where every place was reached they add up to the difference of the lap times.

    Parameters
    ----------
    session, lap
        The lap, by the numbers of its session and its own.
    other_session, other
        The lap it is compared with; of the same recording the very same object, for the
        correlation of their errors to count.

    Raises
    ------
    KeyError
        When a lap was not driven from line to line past every gate.
    """
    own, others = session.laps[lap], other_session.laps[other]
    made = [
        Loss(
            section,
            later(*ends, *other_ends),
            later_sigma(session.kept, ends, other_session.kept, other_ends),
            speeds,
            other_speeds,
        )
        for section, ends, other_ends, speeds, other_speeds in zip(
            session.sections,
            pairwise(own.passed),
            pairwise(others.passed),
            own.speeds,
            others.speeds,
            strict=True,
        )
    ]
    return largest_first(made)


def losses_to(
    reference: Reference,
    sessions: Sequence[Session],
    sections: Sequence[SessionSections],
    session: Session,
    lap: Lap,
) -> tuple[Loss, ...] | None:
    """List where a lap lost time to the reference lap; None where either is not whole.

    Parameters
    ----------
    reference
        The lap that others are compared with.
    sessions, sections
        All recordings of the circuit, and each one's laps by their sections.
    session, lap
        The lap, and the one of `sessions` that it is of.
    """
    own = sections[sessions.index(session)]
    others = sections[sessions.index(reference.session)]
    number, other = _numbers(lap), _numbers(reference.lap)
    if number not in own.laps or other not in others.laps:
        return None
    return losses(own, number, others, other)


def _numbers(lap: Lap) -> tuple[int, int]:
    return lap.session, lap.number


def largest_first(some: Iterable[Loss]) -> tuple[Loss, ...]:
    """Sort losses; those where a recording does not tell are left out."""
    return tuple(sorted((loss for loss in some if not math.isnan(loss.time_s)), key=_won))


def _won(loss: Loss) -> float:
    return -loss.time_s


def lap_losses(
    track: Track, report: LapReport, lap: Lap, other_report: LapReport, other: Lap
) -> tuple[Loss, ...]:
    """List where a lap lost time to another, of one recording or of two, the largest loss first.

    Parameters
    ----------
    track
        The track; its corners are what there is to lose time in.
    report, lap
        The lap, and the report of its recording.
    other_report, other
        The lap it is compared with.

    Returns
    -------
    tuple of Loss
        Straights, ways into corners and ways out of them.

    Raises
    ------
    TrackkitError
        When a report came without its drive.
    KeyError
        When a lap was not driven from line to line past every gate.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> fast, slow = sorted(report.counted, key=lambda lap: lap.time_s)
    >>> for loss in trackkit.lap_losses(track, report, slow, report, fast)[:2]:
    ...     print(loss.section.kind, loss.time_s > 0.0)
    straight True
    straight True
    """
    if other_report is report:
        session = other_session = session_sections(track, report, [lap, other])
    else:
        session = session_sections(track, report, [lap])
        other_session = session_sections(track, other_report, [other])
    return losses(session, _numbers(lap), other_session, _numbers(other))
