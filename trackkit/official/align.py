"""Where the official timing line lies, from official times and recordings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats, robust_spread
from trackkit.errors import TrackkitError
from trackkit.official.passings import Passings

WIDEST_M = 10.0
"""A gate is not moved where the 95 % interval is wider than this."""
FEWEST_ROWS = 5
SCALE_WORTH = 10.0
"""How large the receiver model says errors are counts as much as so many official times."""
_STRAY_SIGMAS = 5.0
_MOST_STRAYS = 0.2
_COARSE_M = 3.0
_POINTS = 121
_DEPTH = 16.0
"""How far below its top the logarithm of the probability is followed."""
_UNKNOWN_M = 1e4
_UNKNOWN_S = 1e4
_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class Observed:
    """Official times of one recording, each as a difference of passings or the moment of one.

    Parameters
    ----------
    lines
        Passings of the finish gate, and then of the sector gates.
    covariance_m2
        Of positions along the track at all of them, shape (n, n).
    begin, end
        Passing each time begins at (-1 for a moment on the clock) and ends at, shape (m,).
    value_s
        Shape (m,); moments in seconds from the recording's first fix.
    rounding_s
        Last decimal each is given to, shape (m,).
    """

    lines: tuple[Passings, ...]
    covariance_m2: Floats
    begin: NDArray[np.intp]
    end: NDArray[np.intp]
    value_s: Floats
    rounding_s: Floats

    def usable(self) -> Observed:
        """Leave out times whose passings are not known at every place."""
        timed = np.concatenate([np.isfinite(line.time_s).all(axis=1) for line in self.lines])
        good = timed[self.end] & (timed[self.begin] | (self.begin < 0))
        return self.part(good)

    def part(self, kept: NDArray[np.bool_]) -> Observed:
        """Keep some of the times."""
        return replace(
            self,
            begin=self.begin[kept],
            end=self.end[kept],
            value_s=self.value_s[kept],
            rounding_s=self.rounding_s[kept],
        )


@dataclass(frozen=True)
class Alignment:
    """Where the official line lies.

    Parameters
    ----------
    ahead_m
        How far ahead of the finish gate (negative: before it), antenna offset taken off.
    sigma_m
        One sigma.
    low_m, high_m
        95 % interval.
    times
        How many official times it rests on.
    left_out
        How many were left out, being far from what all others predict.
    conclusive
        Whether the interval is narrow enough to move the gate by.
    times_needed
        About how many would make it so (the interval narrows with the root of their number).
    scale
        Scatter of official against recorded times, over what the receiver model expects.
    sector_lines_m
        How far ahead of its sector gate each official sector line lies; empty without times.
    clock_s
        By how much the official clock is ahead of each recording's; None without moments.
    """

    ahead_m: float
    sigma_m: float
    low_m: float
    high_m: float
    times: int
    left_out: int
    conclusive: bool
    times_needed: int
    scale: float
    sector_lines_m: tuple[float, ...] = ()
    clock_s: tuple[float | None, ...] = ()


def align_line(
    recordings: Sequence[Observed],
    *,
    clock_within_s: float | None = None,
    sector_lines_within_m: float | None = None,
    antenna_ahead_m: float = 0.0,
) -> Alignment:
    """Find where the official line lies.

    When the line fires, the antenna is where the recording has it, but for the error of the
    smoothed position.  Those errors are normal, with the covariance of the smoother, given what the
    receiver measured; so for each place the official times have a normal density, whose covariance
    takes in that two laps share the passing between them and that a wander stays for minutes.
    Lap times tell the place by how laps differ in speed around it, moments on the receiver's own
    clock by where the antenna was.  Sector lines and an unknown clock are found along with it and
    integrated out (Laplace).  The size of all errors is taken from the receiver model and from the
    residuals together, and integrated out too, which gives a Student t density (Gelman et al.,
    Bayesian Data Analysis, ch. 3; from memory).  With a flat prior the density, normalised, is the
    probability of each place.  Times that all others predict to be farther off than five sigma
    (leave-one-out residuals) are dropped, the worst first.

    Parameters
    ----------
    recordings
        Whose errors are independent of one another.
    clock_within_s
        One sigma of the difference between the official clock and the receivers'; None where it
        is unknown, for each recording.
    sector_lines_within_m
        One sigma of the distance between official sector lines and sector gates; None if unknown.
    antenna_ahead_m
        How far the antenna is ahead of what the timekeepers detect.

    Raises
    ------
    TrackkitError
        With fewer than five official times.
    """
    used = [recording.usable() for recording in recordings]
    given = sum(len(recording.value_s) for recording in used)
    _require(given)
    model = _Model.of(used, clock_within_s, sector_lines_within_m, antenna_ahead_m)
    left_out = 0
    while True:
        place, log_density = _searched(model)
        density = np.exp(log_density - log_density.max())
        density /= density.sum()
        mean = float(density @ place)
        fit = model.fit(mean)
        worst = fit.worst(SCALE_WORTH)
        if worst is None or left_out >= _MOST_STRAYS * given:
            break
        model = model.without(worst)
        left_out += 1
        _require(given - left_out)
    sigma = float(np.sqrt(density @ (place - mean) ** 2))
    total = np.cumsum(density)
    low, high = (float(np.interp(p, total - 0.5 * density, place)) for p in (0.025, 0.975))
    reach = float(recordings[0].lines[0].place_m[-1])
    width = high - low
    conclusive = width <= WIDEST_M and -reach < low and high < reach
    count = given - left_out
    needed = count if conclusive else int(np.ceil(count * max(width / WIDEST_M, 1.0) ** 2))
    sectors = fit.nuisance[: model.sectors]
    clocks = tuple(
        float(fit.nuisance[clock]) if clock is not None else None for clock in model.clocks
    )
    shift = antenna_ahead_m
    return Alignment(
        mean - shift,
        sigma,
        low - shift,
        high - shift,
        count,
        left_out,
        conclusive,
        needed,
        float(np.sqrt(fit.squares / max(count - len(fit.nuisance) - 1, 1))),
        tuple(float(ahead) - shift for ahead in sectors),
        clocks,
    )


def _require(count: int) -> None:
    if count < FEWEST_ROWS:
        raise TrackkitError(
            f"{count} official times that fit the recordings are too few to find the official line",
            remedy=f"give {FEWEST_ROWS} or more; some tens are needed with lap times alone",
        )


@dataclass(frozen=True, eq=False)
class _Fit:
    """The best nuisances at one place of the line.

    `left` and `spread` are the residuals of each recording and the factor of their covariance.
    """

    nuisance: Floats
    squares: float
    log_scale: float
    rows: int
    left: list[Floats]
    spread: list[Floats]

    @property
    def log_density(self) -> float:
        """Logarithm of the probability density, the size of errors integrated out."""
        freedom = SCALE_WORTH + self.rows - len(self.nuisance)
        return -0.5 * freedom * float(np.log(SCALE_WORTH + self.squares)) - self.log_scale

    def worst(self, scale_worth: float) -> tuple[int, int] | None:
        """Find the time farthest from what all others predict, if it is too far."""
        freedom = scale_worth + self.rows - len(self.nuisance)
        size = float(np.sqrt((scale_worth + self.squares) / freedom))
        away = {
            index: _sigmas_away(left, spread)
            for index, (left, spread) in enumerate(zip(self.left, self.spread, strict=True))
            if len(left)
        }
        if not away:
            return None
        # A time that strays has made the size of all errors look large.
        usual = (max(1.0, float(robust_spread(sigmas, about=0.0))) for sigmas in away.values())
        size = min(size, *usual)
        farthest = max(away, key=lambda index: float(away[index].max()))
        if away[farthest].max() <= _STRAY_SIGMAS * size:
            return None
        return farthest, int(np.argmax(away[farthest]))


def _sigmas_away(left: Floats, spread: Floats) -> Floats:
    """How many sigmas residuals are from what all others of their recording predict.

    Parameters
    ----------
    left
        The residuals, shape (n,).
    spread
        Lower Cholesky factor of their covariance, shape (n, n).
    """
    from scipy.linalg import cho_solve

    pull = cho_solve((spread, True), left)
    own = np.diagonal(cho_solve((spread, True), np.eye(len(left))))
    return np.asarray(np.abs(pull) / np.sqrt(own))


@dataclass(frozen=True, eq=False)
class _Model:
    recordings: list[Observed]
    sectors: int
    clocks: list[int | None]
    prior: Floats
    start: Floats

    @classmethod
    def of(
        cls,
        recordings: list[Observed],
        clock_s: float | None,
        sector_m: float | None,
        antenna_m: float,
    ) -> _Model:
        """Lay out the nuisances: sector lines first, then clocks.

        Places are the antenna's when a line fires, which is ahead of the line by its offset.
        """
        sectors = len(recordings[0].lines) - 1
        spread = [_UNKNOWN_M if sector_m is None else max(sector_m, 1e-3)] * sectors
        start = [antenna_m] * sectors
        clocks: list[int | None] = []
        for recording in recordings:
            moments = recording.begin < 0
            if not moments.any() or clock_s == 0.0:
                clocks.append(None)
            elif clock_s is not None and any(c is not None for c in clocks):
                clocks.append(next(c for c in clocks if c is not None))
            else:
                clocks.append(len(spread))
                spread.append(_UNKNOWN_S if clock_s is None else clock_s)
                time = np.concatenate([line.at(0.0)[0] for line in recording.lines])
                late = recording.value_s[moments] - time[recording.end[moments]]
                start.append(float(np.median(late)) if clock_s is None else 0.0)
        return cls(
            recordings,
            sectors,
            clocks,
            np.array(spread, dtype=np.float64) ** -2,
            np.array(start, dtype=np.float64),
        )

    def without(self, stray: tuple[int, int]) -> _Model:
        """Leave one time out."""
        kept = list(self.recordings)
        keep = np.ones(len(kept[stray[0]].value_s), dtype=bool)
        keep[stray[1]] = False
        kept[stray[0]] = kept[stray[0]].part(keep)
        return replace(self, recordings=kept)

    def fit(self, ahead_m: float, start: Floats | None = None) -> _Fit:
        """Find the likeliest nuisances for a place of the line."""
        from scipy.linalg import solve_triangular

        nuisance = self.start.copy() if start is None else start.copy()
        spread: list[Floats] = []
        for turn in range(_ROUNDS if len(nuisance) else 1):
            left, rows, slopes = [], [], []
            for index, recording in enumerate(self.recordings):
                predicted, pace, slope = self._predicted(index, ahead_m, nuisance)
                if turn == 0:
                    spread.append(_factor(recording, pace))
                left.append(recording.value_s - predicted)
                rows.append(solve_triangular(spread[index], left[-1], lower=True))
                slopes.append(solve_triangular(spread[index], slope, lower=True))
            row, slope = np.concatenate(rows), np.concatenate(slopes)
            information = slope.T @ slope + np.diag(self.prior)
            if not len(nuisance) or turn == _ROUNDS - 1:
                break
            drawn = self.prior * (nuisance - self.start)
            step = np.linalg.solve(information, slope.T @ row - drawn)
            nuisance = nuisance + step
            if np.all(np.abs(step) * np.sqrt(np.diagonal(information)) < 1e-3) and turn > 0:
                break
        squares = float(row @ row + self.prior @ (nuisance - self.start) ** 2)
        log_scale = sum(float(np.log(np.diagonal(factor)).sum()) for factor in spread)
        if len(nuisance):
            log_scale += 0.5 * float(np.linalg.slogdet(information)[1])
        return _Fit(nuisance, squares, log_scale, len(row), left, spread)

    def _predicted(
        self, index: int, ahead_m: float, nuisance: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Return times, paces at all passings, and how times change with each nuisance."""
        recording = self.recordings[index]
        places = [ahead_m, *nuisance[: self.sectors]]
        time_and_pace = [
            line.at(place) for line, place in zip(recording.lines, places, strict=True)
        ]
        time = np.concatenate([t for t, _ in time_and_pace])
        pace = np.concatenate([p for _, p in time_and_pace])
        of_line = np.repeat(np.arange(len(time_and_pace)), [len(t) for t, _ in time_and_pace])
        begin, end = recording.begin, recording.end
        moment = begin < 0
        slope = np.zeros((len(recording.value_s), len(nuisance)))
        for line in range(1, len(time_and_pace)):
            share = np.where(of_line == line, pace, 0.0)
            slope[:, line - 1] = share[end] - np.where(moment, 0.0, share[begin])
        predicted = time[end] - np.where(moment, 0.0, time[begin])
        clock = self.clocks[index]
        if clock is not None:
            slope[moment, clock] = 1.0
            predicted = predicted + np.where(moment, nuisance[clock], 0.0)
        return predicted, pace, slope


def _factor(observed: Observed, pace_spm: Floats) -> Floats:
    """Lower Cholesky factor of the covariance of some official less recorded times, s^2."""
    late = pace_spm[:, None] * observed.covariance_m2 * pace_spm[None, :]
    begin, end = observed.begin, observed.end
    moment = begin < 0
    rest = late[end] - np.where(moment[:, None], 0.0, late[begin])
    spread = rest[:, end] - np.where(moment[None, :], 0.0, rest[:, begin])
    return np.asarray(np.linalg.cholesky(spread + np.diag(observed.rounding_s**2 / 12.0 + 1e-9)))


def _searched(model: _Model) -> tuple[Floats, Floats]:
    """Follow the probability of each place, on a grid that is made finer where it matters."""
    reach = float(model.recordings[0].lines[0].place_m[-1])
    place = np.linspace(-reach, reach, 2 * int(np.ceil(reach / _COARSE_M)) + 1)
    while True:
        log_density = _followed(model, place)
        near = np.flatnonzero(log_density > log_density.max() - _DEPTH)
        if near[-1] - near[0] > _POINTS // 3:
            return place, log_density
        low, high = place[max(near[0] - 1, 0)], place[min(near[-1] + 1, len(place) - 1)]
        place = np.linspace(low, high, _POINTS)


def _followed(model: _Model, place_m: Floats) -> Floats:
    """Fit at each place, from the middle outwards, each beginning where its neighbour ended."""
    log_density = np.empty(len(place_m))
    middle = len(place_m) // 2
    for walk in (range(middle, len(place_m)), range(middle - 1, -1, -1)):
        start = None
        for index in walk:
            fit = model.fit(float(place_m[index]), start)
            log_density[index], start = fit.log_density, fit.nuisance
    return log_density
