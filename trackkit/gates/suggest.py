"""Gates suggested: the best split of a lap over a fine grid, by dynamic programming."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.errors import PlaceError
from trackkit.gates.choose import CLEAR_M, GATES_APART_M, near_pits
from trackkit.gates.placement import with_gate
from trackkit.gates.quality import TimingQuality
from trackkit.geometry.bends import find_bends
from trackkit.geometry.clearance import clearance
from trackkit.track.features import Gate
from trackkit.track.model import Track
from trackkit.track.places import Place

Basis = Literal["time", "length", "corners"]

GRID_M = 2.0
REACH = 0.45
"""A gate may be this share of a sector away from where an even split would have it: it stays
nearer to its own place than to those of its neighbours."""
SHORTEST_SHARE = 0.5
"""A sector is at least this share of an even one, as long as there are places for that."""
APEX_CLEAR_M = 15.0
"""A gate keeps this far from an apex."""
_UNFIT = 100.0
"""Each fault of a place weighs as much as this many times the usual variance of a sector, so that
one is chosen only where nothing else is left."""
_UNEVEN = 0.05
"""Weight of an uneven split: it decides where uncertainties are alike.  By corners it weighs more
(`_UNEVEN_CORNERS`)."""
_UNEVEN_CORNERS = 2.0
_MOST_PLACES = 900


@dataclass(frozen=True)
class Suggestion:
    """A place for a sector gate, and why.

    Parameters
    ----------
    chainage_m
        Where.
    sigma_s
        One sigma of a crossing there.
    even_m
        Where an even split would have it (None for corners).
    faults
        What is wrong with the place, though there is none better.
    reason
        One sentence without a full stop.
    """

    chainage_m: float
    sigma_s: float
    even_m: float | None
    faults: tuple[str, ...]
    reason: str

    def as_row(self) -> dict[str, Any]:
        """Return the suggestion as JSON; chainages to a centimetre."""
        return {
            "chainage_m": round(self.chainage_m, 2),
            "sigma_s": round(self.sigma_s, 6),
            "even_m": None if self.even_m is None else round(self.even_m, 2),
            "faults": list(self.faults),
            "reason": self.reason,
        }


@dataclass(frozen=True, eq=False)
class Grid:
    """Places gates may go, in racing order from the gate a lap begins at.

    Parameters
    ----------
    begin_m, end_m
        Chainages a lap begins and ends at; the end of a closed lap is one length on.
    place_m
        Shape (n,), rising, between the two.
    share
        Progress of the lap at each place, by time, length or corners, 0 to 1, shape (n,).
    unfit
        How many faults each place has, shape (n,).
    """

    begin_m: float
    end_m: float
    place_m: Floats
    share: Floats
    unfit: Indices


FAULTS = (
    "in a braking zone",
    "near an apex",
    "close to another piece of track",
    "close to the pit lane",
    "within a corner",
)


def best_split(
    quality: TimingQuality, sectors: int, by: Basis = "time", *, grid_m: float = GRID_M
) -> list[Suggestion]:
    """Suggest sector gates that split a lap as asked and are timed best.

    What is made least is the sum over sectors of the variance of their times
    (`TimingQuality.sector_variance`), over all choices of places on the grid at once; a gate
    stays within `REACH` of a sector of the place an even split would give it, out of braking
    zones, `APEX_CLEAR_M` from apexes, and clear of other track and of the pit lane, as long as
    there is such a place.  By corners, gates lie on straights, and sectors are as even in time as
    that allows.

    Parameters
    ----------
    quality
        Of the track, which has the gates a lap begins and ends at.
    sectors
        How many, 1 or more.
    by
        What is to be split evenly.
    grid_m
        Distance between places tried, metres.

    Raises
    ------
    PlaceError
        When the track is too short for so many sectors.
    """
    if sectors < 1:
        raise PlaceError("a lap has at least one sector", remedy="ask for 1 or more")
    grid, faults = candidate_grid(quality, by, grid_m)
    if (grid.end_m - grid.begin_m) / sectors < 2.0 * GATES_APART_M:
        raise PlaceError(
            f"a lap of {grid.end_m - grid.begin_m:.0f} m is too short for {sectors} sectors",
            remedy="ask for fewer",
        )
    if by == "corners":
        straights = len(find_bends(quality.curve)[1])
        if sectors > max(straights, 1):
            raise PlaceError(
                f"the track has {straights} straights, too few for {sectors} sectors by corners",
                remedy=f"ask for {straights} or fewer, or split by time",
            )
    chosen = best_places(quality, grid, sectors, by)
    return [
        _explained(quality, grid, faults, index, number / sectors, by)
        for number, index in enumerate(chosen, start=1)
    ]


def candidate_grid(quality: TimingQuality, by: Basis, grid_m: float) -> tuple[Grid, Flags]:
    """Lay out the places gates may go, and what is wrong with each.

    Returns
    -------
    grid, faults
        The faults of `FAULTS`, shape (n, 5).
    """
    track, curve = quality.track, quality.curve
    begin = track.timed_from.chainage_m
    length = curve.length_m if track.closed else track.finish.chainage_m - begin
    count = int(np.clip((length - 2 * GATES_APART_M) / grid_m, 2, _MOST_PLACES * 4))
    place = begin + np.linspace(GATES_APART_M, length - GATES_APART_M, count + 1)
    on_curve = curve.wrap(place)
    if by == "length":
        share = (place - begin) / length
    else:
        passed = quality.passed_s(np.array([begin, begin + length]))
        share = (quality.passed_s(place) - passed[0]) / (passed[1] - passed[0])
    bends, _ = find_bends(curve)
    braking = quality.at(quality.braking.astype(float), on_curve) > 0
    apex = np.zeros(len(place), dtype=bool)
    inside = np.zeros(len(place), dtype=bool)
    for bend in bends:
        apex |= curve.separation(on_curve, bend.apex_m) < APEX_CLEAR_M
        reach = float(curve.along(bend.entry_m, bend.exit_m))
        inside |= curve.along(bend.entry_m, on_curve) < reach
    if not track.closed:
        inside = np.zeros(len(place), dtype=bool)
        for bend in bends:
            inside |= (on_curve > bend.entry_m) & (on_curve < bend.exit_m)
    if by != "corners":
        inside[:] = False
    every = max(1, round(6.0 / grid_m))
    sparse = np.append(np.arange(0, len(place), every), len(place) - 1)
    clear = np.minimum(clearance(curve, on_curve[sparse]), 1e6)
    close = np.interp(place, place[sparse], clear) < CLEAR_M
    faults = np.stack([braking, apex, close, near_pits(track, on_curve), inside], axis=1)
    weight = np.array([1, 1, 1, 1, 4])
    return Grid(begin, begin + length, place, share, faults @ weight), faults


def windows(grid: Grid, sectors: int, by: Basis) -> list[Indices]:
    """List the places each gate may take: those near enough to an even split."""
    reachable = []
    for number in range(1, sectors):
        away = np.abs(grid.share - number / sectors) * sectors
        reach = 0.9 if by == "corners" else REACH
        inside = np.flatnonzero(away <= reach)
        reachable.append(inside if len(inside) else np.array([int(np.argmin(away))]))
    return reachable


def costs(
    quality: TimingQuality, grid: Grid, sectors: int, by: Basis
) -> Callable[[Indices, Indices], Floats]:
    """Make the cost of a sector between two places, given by index, -1 being the lap's ends.

    A sector has the variance of its time, in units of the square of the mean sector's usual
    sigma, the faults of the place it ends at, its unevenness, and whether it is too short.
    """
    place = np.concatenate([grid.place_m, [grid.end_m]])
    usual = 2.0 * float(np.median(quality.sigma_s)) ** 2
    weight = _UNEVEN_CORNERS if by == "corners" else _UNEVEN
    share = np.concatenate([grid.share, [1.0]])
    unfit = np.concatenate([grid.unfit, [0]])

    def cost(begin: Indices, end: Indices) -> Floats:
        start_m = np.where(begin < 0, grid.begin_m, place[begin])
        start_share = np.where(begin < 0, 0.0, share[begin])
        variance = quality.sector_variance(start_m, place[end]) / usual
        uneven = ((share[end] - start_share) * sectors - 1.0) ** 2
        apart = place[end] - start_m
        value = variance + weight * uneven + _UNFIT * unfit[end]
        if by != "corners":
            short = (share[end] - start_share) * sectors < SHORTEST_SHARE
            value = value + _UNFIT * short
        return np.where(apart >= GATES_APART_M, value, np.inf)

    return cost


def best_places(quality: TimingQuality, grid: Grid, sectors: int, by: Basis) -> list[int]:
    """Find the choice of places of least cost (Bellman's principle: dynamic programming).

    Returns
    -------
    list of int
        Indices into the grid, one fewer than there are sectors.
    """
    if sectors == 1:
        return []
    cost = costs(quality, grid, sectors, by)
    allowed = windows(grid, sectors, by)
    last = np.array([-1])
    so_far = np.zeros(1)
    came: list[Indices] = []
    for inside in allowed:
        total = so_far[:, None] + cost(last[:, None], inside[None, :])
        best = np.argmin(total, axis=0)
        came.append(best)
        so_far = total[best, np.arange(len(inside))]
        last = inside
    final = so_far + cost(last, np.array([len(grid.place_m)]))
    at = int(np.argmin(final))
    chosen = []
    for inside, best in zip(reversed(allowed), reversed(came), strict=True):
        chosen.append(int(inside[at]))
        at = int(best[at])
    return chosen[::-1]


def _explained(
    quality: TimingQuality,
    grid: Grid,
    faults: Flags,
    index: int,
    even_share: float,
    by: Basis,
) -> Suggestion:
    curve = quality.curve
    chainage = float(curve.wrap(grid.place_m[index]))
    sigma = float(quality.at(quality.sigma_s, chainage))
    speed = float(quality.at(quality.speed_mps, chainage))
    wrong = tuple(text for text, bad in zip(FAULTS, faults[index], strict=True) if bad)
    even = float(np.interp(even_share, grid.share, grid.place_m))
    reason = f"cars pass at {3.6 * speed:.0f} km/h, one sigma {1e3 * sigma:.1f} ms"
    even_at = None
    if by == "corners":
        before, after = _corners_beside(quality.track, chainage)
        reason = f"on the straight between corner {before} and corner {after}, {reason}"
        if before is None or after is None:
            reason = f"clear of corners, {reason.partition(', ')[2]}"
    else:
        even_at = float(curve.wrap(even))
        there = float(quality.at(quality.sigma_s, even_at))
        reason += (
            f" ({1e3 * there:.1f} ms at {even_at:.0f} m, where the split by {by} would be even)"
        )
        if there < sigma:
            reason += (
                ", and the gates beside it are passed in more nearly the same direction, so that "
                "more of the receiver's wander cancels"
            )
    if wrong:
        reason += f", though it is {' and '.join(wrong)}: nothing within reach is better"
    return Suggestion(chainage, sigma, even_at, wrong, reason)


def _corners_beside(track: Track, chainage_m: float) -> tuple[int | None, int | None]:
    bends, _ = find_bends(track.curve)
    if not bends:
        return None, None
    ahead = [float(track.curve.along(chainage_m, bend.apex_m)) for bend in bends]
    if not track.closed:
        later = [n for n, a in enumerate(ahead, start=1) if a > 0]
        earlier = [n for n, a in enumerate(ahead, start=1) if a <= 0]
        return (earlier[-1] if earlier else None), (later[0] if later else None)
    following = int(np.argmin(ahead))
    return (following - 1) % len(bends) + 1, following + 1


def with_suggested_gates(
    track: Track, suggestions: Sequence[Suggestion]
) -> tuple[Track, tuple[str, ...]]:
    """Put sector gates where they are suggested, in place of those there are.

    A gate that stays within half a metre of a suggestion is kept as it is, with its id, name and
    ends.

    Returns
    -------
    track, remarks
    """
    kept: dict[str, Gate] = {}
    missing = []
    for suggestion in suggestions:
        near = [
            gate
            for gate in track.gates_of_kind("sector")
            if float(track.curve.separation(gate.chainage_m, suggestion.chainage_m)) <= 0.5
        ]
        if near:
            kept[near[0].id] = near[0]
        else:
            missing.append(suggestion)
    changed = track.with_gates(g for g in track.gates if g.kind != "sector" or g.id in kept)
    remarks: list[str] = []
    for suggestion in missing:
        place = Place(chainage_m=suggestion.chainage_m)
        changed, gate, gate_remarks = with_gate(changed, "sector", place)
        remarks += [f"{gate.name}: {text}" for text in gate_remarks]
    return changed, tuple(remarks)
