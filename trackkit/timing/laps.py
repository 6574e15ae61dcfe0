"""Crossings of gates sorted into laps, as they were driven; missed crossings stay missing."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from trackkit.timing.channel_figures import ChannelFigures
from trackkit.timing.crossings import Crossing
from trackkit.timing.remarks import LapRemark
from trackkit.words import counted

LapKind = Literal["flying", "out", "in", "pit"]


@dataclass(frozen=True)
class SectorTime:
    """Time between two gates that follow one another; None where one was missed.

    Parameters
    ----------
    time_s, sigma_s
        Sector time and its uncertainty, one sigma.
    split_s
        Time since the lap began, at the end of the sector.
    top_mps, lowest_mps
        Highest and lowest speed in it.
    channels
        What the recording's channels were in it.
    """

    time_s: float | None
    split_s: float | None
    sigma_s: float | None = None
    top_mps: float | None = None
    lowest_mps: float | None = None
    channels: tuple[ChannelFigures, ...] = ()

    def as_row(self) -> dict[str, Any]:
        """Return the sector as JSON."""
        return {
            "time_s": self.time_s,
            "sigma_s": self.sigma_s,
            "split_s": self.split_s,
            "top_mps": self.top_mps,
            "lowest_mps": self.lowest_mps,
        }


@dataclass(frozen=True)
class Lap:
    """One lap, or one run of a point-to-point course.

    Parameters
    ----------
    number
        1 is the first lap of its session begun at the finish gate; an out lap before it has 0.
    kind
        Flying, out (before the first crossing of the gate laps begin at), in (after the last)
        or pit (some of it was driven in the pit lane).
    complete
        Began and ended at the finish gate, every gate crossed.
    start_s
        Seconds from the first fix, or None where the lap began at a crossing that was missed.
    time_s, sigma_s
        Lap time and its uncertainty, one sigma, seconds, or None.
    missed
        Ids of the gates that were not crossed.
    sectors
        In racing order.
    passed
        The crossing at each gate, beginning with the one the lap begins at and ending with the
        one it ends at; None where it was missed.
    top_mps, lowest_mps
        Highest and lowest speed, metres a second, where the lap has a time.
    speed_gates
        The crossings of gates of kind "speed" during the lap, in order of time.
    pit_visits
        The crossings of the pit-entry and the pit-exit gate of each visit to the pits that began
        in the lap, where both were crossed.
    pit_speed_mps
        Highest speed between them, metres a second, or None.
    session
        Number of the session it was driven in, from 1; with `number` it names the lap.
    remarks
        What is wrong with it.
    set_aside
        Whether it does not count for what is wrong with it.
    channels
        What the recording's channels were in it, where it has a time.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> lap = report.laps[1]
    >>> lap.number, lap.kind, lap.counts, len(lap.sectors)
    (1, 'flying', True, 3)
    """

    number: int
    kind: LapKind
    complete: bool
    start_s: float | None
    time_s: float | None
    missed: tuple[str, ...]
    sectors: tuple[SectorTime, ...]
    passed: tuple[Crossing | None, ...] = ()
    sigma_s: float | None = None
    top_mps: float | None = None
    lowest_mps: float | None = None
    speed_gates: tuple[Crossing, ...] = ()
    pit_visits: tuple[tuple[Crossing, Crossing], ...] = ()
    pit_speed_mps: float | None = None
    session: int = 1
    remarks: tuple[LapRemark, ...] = ()
    set_aside: bool = False
    channels: tuple[ChannelFigures, ...] = ()

    def __repr__(self) -> str:
        time = "no time" if self.time_s is None else f"{self.time_s:.3f} s"
        missed = f", {len(self.missed)} missed" if self.missed else ""
        return f"Lap({self.number}, {self.kind}, {time}, {counted(self.sectors, 'sector')}{missed})"

    @property
    def is_whole(self) -> bool:
        """Whether it was driven from line to line past every gate, whatever happened in it."""
        return self.complete and self.kind == "flying"

    @property
    def counts(self) -> bool:
        """Whether it counts towards the best times: whole, and not set aside."""
        return self.is_whole and not self.set_aside

    def is_clean(self, sector: int) -> bool:
        """Tell whether a sector has a time that nothing spoils.

        Parameters
        ----------
        sector
            Its place among the sectors, from 0.

        Returns
        -------
        bool
            Whether what is wrong with the lap, if anything is, happened in others.
        """
        spoilt = any(sector in remark.sectors for remark in self.remarks)
        return self.sectors[sector].time_s is not None and not spoilt

    @property
    def pit_time_s(self) -> float | None:
        """Time from the pit-entry gate to the pit-exit gate, seconds, of all visits together."""
        if not self.pit_visits:
            return None
        return sum(left.time_s - entered.time_s for entered, left in self.pit_visits)

    def as_row(self) -> dict[str, Any]:
        """Write the lap as JSON; `trackkit.timing.rows.lap_row` adds to it.

        Returns
        -------
        dict
            The fields by name; times in seconds, speeds in metres a second.
        """
        return {
            "session": self.session,
            "number": self.number,
            "kind": self.kind,
            "complete": self.complete,
            "counts": self.counts,
            "remarks": [remark.as_row() for remark in self.remarks],
            "start_s": self.start_s,
            "time_s": self.time_s,
            "sigma_s": self.sigma_s,
            "top_mps": self.top_mps,
            "lowest_mps": self.lowest_mps,
            "pit_time_s": self.pit_time_s,
            "pit_speed_mps": self.pit_speed_mps,
            "missed": list(self.missed),
            "sectors": [sector.as_row() for sector in self.sectors],
        }


@dataclass
class _OpenLap:
    """A lap that is being driven: crossings of the gates it should cross, in their order."""

    passed: list[Crossing | None]
    first: bool = False
    pit: bool = False
    pit_lately: bool = False
    speeds: list[Crossing] = field(default_factory=list)
    early: list[Crossing] = field(default_factory=list)
    pit_visits: list[tuple[Crossing, Crossing]] = field(default_factory=list)

    @property
    def last_place(self) -> int:
        """Place in the order of the last gate crossed, or -1."""
        return max((i for i, c in enumerate(self.passed) if c is not None), default=-1)


def laps_between(
    crossings: Iterable[Crossing],
    order: Sequence[str],
    *,
    closed: bool,
    pit_exits: Collection[str] = (),
    speed_places: Mapping[str, float] | None = None,
    session: int = 1,
    begin_s: float = 0.0,
) -> list[Lap]:
    """Turn crossings of one session into laps.

    A gate that comes again, or an earlier one, before the finish gate means that the finish was
    missed: the lap ends there without a time and another begins; no crossing is made up.

    A lap is one through the pit lane when it crossed a gate of the pit lane, and so is one that
    began between the entry and the exit, whether the pit lane passes the finish line inside the
    finish gate or beyond its end.

    Parameters
    ----------
    crossings
        In order of time; those of gates not in `order` or `speed_places` are of the pit lane.
    order
        Ids of the gates of a lap, beginning with the one it begins at; a point-to-point course
        ends with its finish gate.
    closed
        Whether a lap ends at the gate it begins at.
    pit_exits
        Ids of the gates at which the pit lane ends.
    speed_places
        Gates that only tell a speed, and their place among `order`: 1.5 is between its gates 1
        and 2.
    session, begin_s
        Number of the session, and when its out lap began, seconds from the first fix.
    """
    place = {gate: index for index, gate in enumerate(order)}
    speed_place = speed_places or {}
    stops = len(order) + 1 if closed else len(order)
    done: list[_OpenLap] = []
    lap = _OpenLap([None] * stops, first=True)
    in_pits = False
    entered: tuple[_OpenLap, Crossing] | None = None

    def close() -> _OpenLap:
        if (lap.first and closed) or lap.last_place >= 0:
            done.append(lap)
        return _OpenLap([None] * stops)

    for crossing in crossings:
        gate = crossing.gate
        if gate in speed_place:
            # Driven past again before the finish was seen: that may turn out to have been missed.
            again = speed_place[gate] < lap.last_place
            (lap.early if again else lap.speeds).append(crossing)
            continue
        if gate not in place:
            lap.pit = lap.pit_lately = True
            in_pits = bool(pit_exits) and gate not in pit_exits
            entered = _entered(lap, crossing, entered, pit_exits)
            continue
        index = place[gate]
        if index == 0:
            if closed:
                lap.passed[-1] = crossing
            lap.speeds += lap.early
            lap = close()
            lap.pit = in_pits
        elif index <= lap.last_place:
            past_the_end = lap.pit_lately
            early, lap.early = lap.early, []
            lap = close()
            lap.speeds, lap.pit = early, past_the_end
        if index > 0:
            in_pits = lap.pit_lately = False
        lap.passed[index] = crossing
        if not closed and index == stops - 1:
            lap = close()
    if lap.last_place >= 0:
        done.append(lap)
    laps = _numbered(done, order, closed=closed)
    return [
        replace(lap, session=session, start_s=begin_s if lap.kind == "out" else lap.start_s)
        for lap in laps
    ]


def _entered(
    lap: _OpenLap,
    crossing: Crossing,
    before: tuple[_OpenLap, Crossing] | None,
    pit_exits: Collection[str],
) -> tuple[_OpenLap, Crossing] | None:
    """Take a crossing of a pit gate: the visit that it begins, or None once it has ended one."""
    if crossing.gate not in pit_exits:
        return lap, crossing
    if before is not None:
        before[0].pit_visits.append((before[1], crossing))
    return None


def _numbered(done: list[_OpenLap], order: Sequence[str], *, closed: bool) -> list[Lap]:
    laps = []
    number = 0
    names = [*order, order[0]] if closed else list(order)
    for index, lap in enumerate(done):
        number += not lap.first
        start, end = lap.passed[0], lap.passed[-1]
        kind: LapKind = "pit" if lap.pit else "flying"
        if lap.first and start is None:
            kind = "out"
        elif index == len(done) - 1 and end is None:
            kind = "in"
        missed = _missed(lap, names, kind)
        begin = 0.0 if kind == "out" else None if start is None else start.time_s
        laps.append(
            Lap(
                number=number,
                kind=kind,
                complete=start is not None and end is not None and not missed,
                start_s=begin,
                time_s=_between(start, end),
                missed=missed,
                sectors=tuple(
                    SectorTime(_between(before, after), _between(start, after))
                    for before, after in zip(lap.passed[:-1], lap.passed[1:], strict=True)
                ),
                passed=tuple(lap.passed),
                speed_gates=(*lap.speeds, *lap.early),
                pit_visits=tuple(lap.pit_visits),
            )
        )
    return laps


def _between(first: Crossing | None, second: Crossing | None) -> float | None:
    return None if first is None or second is None else second.time_s - first.time_s


def _missed(lap: _OpenLap, names: Sequence[str], kind: LapKind) -> tuple[str, ...]:
    """Gates a lap should have crossed and did not.

    An out lap may begin, and an in lap may end, anywhere: only gates after the first, or before
    the last, that they did cross count.
    """
    crossed = [index for index, crossing in enumerate(lap.passed) if crossing is not None]
    if not crossed:
        return ()
    low = crossed[0] if kind == "out" else 0
    high = crossed[-1] if kind == "in" else len(names) - 1
    missing = [names[i] for i in range(low, high + 1) if lap.passed[i] is None]
    return tuple(dict.fromkeys(missing))
