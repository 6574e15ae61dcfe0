"""How well each metre of a line is known that was averaged from laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.average import Average, Reading
from trackkit.building.find_laps import FoundLap
from trackkit.building.sparse import Spacing, bridged_sigma, spacing_of
from trackkit.building.wander import ALONG_M, Wander, is_tied, seam_shares
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.smoothing import low_pass, moving_mean
from trackkit.motion.drive import Drive
from trackkit.motion.position_error import PositionError, Receiver, position_error
from trackkit.track.accuracy import AccuracyProfile, AccuracyRow, Kinds
from trackkit.track.model import Track

NEAR_FIX_M = 15.0
"""Where the fixes of all laps lie farther apart than this, the line between them is thin."""
_PLACES = 60
_MOST_LAPS = 60
_SCATTER_OVER_M = 200.0
_LOCAL_FREEDOM = 10.0
_ALIKE = 0.75
_LEAST_CHANCE = 0.1
_ROW_EVERY_M = 5.0
_ROW_WITHIN = 0.03
_LEAST_ROW_M = 0.015


@dataclass(frozen=True, eq=False)
class KnownLine:
    """How well a line is known along it.

    Parameters
    ----------
    sigma_m, kind
        One sigma of the sideways place and the kind (`trackkit.track.accuracy`), shape (n,).
    basis
        How it was estimated, a clause.
    assumed
        Whether the wander, the most of it, was assumed.
    """

    sigma_m: Floats
    kind: Kinds
    basis: str
    assumed: bool

    @property
    def rms_m(self) -> float:
        """Root mean square of sigma, metres."""
        return float(np.sqrt(np.mean(self.sigma_m**2)))

    def at(self, curve: Curve, chainage_m: Floats, where_m: Floats) -> tuple[Floats, Kinds]:
        """Read sigma and kind at places along the line.

        Parameters
        ----------
        curve, chainage_m
            The line, and the chainages that it is known at, shape (n,).
        where_m
            The places, shape (k,).

        Returns
        -------
        sigma_m, kind
            Shape (k,).
        """
        period = curve.length_m if curve.closed else None
        sigma = np.interp(where_m, chainage_m, self.sigma_m, period=period)
        nearest = np.clip(np.searchsorted(chainage_m, where_m), 0, len(chainage_m) - 1)
        return np.asarray(sigma), self.kind[nearest]


def known_along(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    readings: Sequence[Reading],
    average: Average,
    wavelength_m: float,
    wander: Wander,
) -> KnownLine:
    """Work out sigma and kind along a line that was averaged from laps.

    The variance is the sum of four: of the receivers' wander at the moments at which the laps
    passed (`trackkit.building.wander`), with what laps share of it; of the drivers' own deviations,
    read from the laps' scatter less what wander gives it, over the number of laps; of the curve
    between fixes that are sparse, or across a gap (`trackkit.building.sparse`); and of the
    smoothing, as far as smoothing the line once more would move it.

    Parameters
    ----------
    curve, chainage_m
        The line and even chainages along it, shape (n,).
    laps, readings, average
        What it was averaged from, read at those chainages.
    wavelength_m
        With what it was smoothed.
    wander
        Of the laps' recordings, from `trackkit.building.wander.wander_of`.
    """
    left = curve.left(chainage_m)
    step = float(chainage_m[1] - chainage_m[0])
    share = _shares(average)
    slow = _slow(curve, chainage_m, laps, readings, share, wander, left)
    own = _own(curve, step, laps, average, wander)
    spacing = [spacing_of(lap, reading.time_s) for lap, reading in zip(laps, readings, strict=True)]
    counts = average.weight > 0
    between = np.array([some.sigma_m for some in spacing])
    # Laps cut the same corners alike, in part.
    alike = _ALIKE * (share * between).sum(axis=0) ** 2
    if len(laps) == 1:
        alike = between[0] ** 2
    carried = np.asarray(~counts.any(axis=0))
    alike = np.where(carried, bridged_sigma(curve, chainage_m, carried, readings) ** 2, alike)
    line = curve.position(chainage_m)
    moved = low_pass(line, curve.length_m, wavelength_m, closed=curve.closed) - line
    smoothing = np.einsum("ij,ij->i", moved, left) ** 2
    variance = slow + own * (share**2).sum(axis=0) + alike + smoothing
    thin = _thin(spacing, counts) & ~carried
    kind = np.where(carried, "carried", np.where(thin, "thin", "measured"))
    basis = ", ".join(wander.basis) + (", which is assumed" if wander.assumed else "")
    return KnownLine(np.sqrt(variance), kind, basis, wander.assumed)


def _shares(average: Average) -> Floats:
    """Weight of each lap in the line at each place, adding up to 1; shape (laps, n)."""
    weight = average.weight * average.share[:, None]
    total = weight.sum(axis=0)
    nothing = np.abs(total) < 1e-9
    even = np.broadcast_to(average.share[:, None], weight.shape)
    return np.where(nothing, even, weight / np.where(nothing, 1.0, total))


def _errors(drive: Drive, wander: Wander) -> list[tuple[float, PositionError]]:
    """Errors of a drive's positions, one for each time constant, with its probability."""
    receiver = replace(Receiver.of(drive), doppler=is_tied(drive))
    expected = wander.expected_m[id(drive)]
    errors = []
    for weight, time, factor in zip(wander.weight, wander.time_s, wander.factor, strict=True):
        if weight < _LEAST_CHANCE:
            continue
        levels = replace(receiver.levels, wander_m=round(expected * factor, 3), wander_time_s=time)
        error = position_error(replace(receiver, levels=levels))
        # What lies between sparse fixes is counted by itself.
        fast = min(error.fast_m2, levels.white_m**2)
        errors.append((weight, replace(error, fast_m2=fast)))
    total = sum(weight for weight, _ in errors)
    return [(weight / total, error) for weight, error in errors]


def _slow(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    readings: Sequence[Reading],
    share: Floats,
    wander: Wander,
    left: Floats,
) -> Floats:
    """Variance that errors of the laps' positions give the line, shape (n,)."""
    place = np.unique(np.linspace(0, len(chainage_m) - 1, _PLACES).astype(int))
    total = np.zeros(len(place))
    owner = np.array([id(lap.path.drive) for lap in laps])
    for key in dict.fromkeys(owner.tolist()):
        mine = np.flatnonzero(owner == key)
        weight = share[mine][:, place]
        if len(mine) > _MOST_LAPS:
            some = np.linspace(0, len(mine) - 1, _MOST_LAPS).astype(int)
            before = weight.sum(axis=0)
            mine, weight = mine[some], weight[some]
            weight = weight * before / weight.sum(axis=0)
        drive = laps[int(mine[0])].path.drive
        time = np.array([readings[i].time_s[place] for i in mine.tolist()])
        if curve.closed and not drive.has_doppler:
            seam = [_seam(curve, chainage_m[place], laps[i], left[place]) for i in mine.tolist()]
            ends = np.array([(laps[i].start_s, laps[i].end_s) for i in mine.tolist()])
            lean = np.array(seam)
            weight = np.concatenate([weight, -weight * lean, weight * lean])
            time = np.concatenate(
                [time, *(np.repeat(ends[:, end, None], len(place), axis=1) for end in (0, 1))]
            )
        lag = np.abs(time[:, None] - time)
        for chance, error in _errors(drive, wander):
            shared = error.covariance(lag)
            total += chance * np.einsum("im,ijm,jm->m", weight, shared, weight)
    period = curve.length_m if curve.closed else None
    return np.asarray(np.interp(chainage_m, chainage_m[place], total, period=period))


def _seam(curve: Curve, chainage_m: Floats, lap: FoundLap, left: Floats) -> Floats:
    """Share of a lap's jump at its seam that was spread to each place, as it faces there."""
    begin, lean = seam_shares(curve, chainage_m, lap)
    return np.asarray(lean * (left @ curve.left(begin)))


def _own(
    curve: Curve, step_m: float, laps: Sequence[FoundLap], average: Average, wander: Wander
) -> Floats:
    """Variance of a single lap's own deviation from the line that is repeated, shape (n,).

    How large it is all along the line comes with the wander; how it varies is read from how the
    laps scatter once the shift of each is taken out.
    """
    overall = wander.own_m**2
    if len(laps) == 1:
        return np.full(average.weight.shape[1], overall)
    weight = average.weight
    total, square = weight.sum(axis=0), (weight**2).sum(axis=0)
    freedom = np.maximum(total - square / np.maximum(total, 1e-9), 0.0)
    squares = (weight * (average.offset_m - average.mean_m) ** 2).sum(axis=0)
    everywhere = float(squares.sum() / max(freedom.sum(), 1e-9))
    if everywhere <= 0:
        return np.full(len(total), overall)
    over = [
        moving_mean(some[None], _SCATTER_OVER_M, step_m, closed=curve.closed)[0]
        for some in (squares, freedom)
    ]
    local = over[0] / np.maximum(over[1], 1e-9) / everywhere
    here = over[1] * _SCATTER_OVER_M / (2.0 * ALONG_M)
    return np.asarray(overall * (here * local + _LOCAL_FREEDOM) / (here + _LOCAL_FREEDOM))


def _thin(spacing: Sequence[Spacing], counts: Flags) -> Flags:
    """Mark where no lap that counts has close fixes, nor all of them together."""
    before = np.where(counts, [some.before_m for some in spacing], np.inf).min(axis=0)
    after = np.where(counts, [some.after_m for some in spacing], np.inf).min(axis=0)
    sparse = np.where(counts, [some.sparse for some in spacing], True).all(axis=0)
    return np.asarray(sparse & (before + after > NEAR_FIX_M))


def profile_along(
    track: Track, plane: LocalPlane, curve: Curve, chainage_m: Floats, line: KnownLine
) -> AccuracyProfile:
    """Write how well a line is known as the rows of a track that has it as its line.

    Parameters
    ----------
    track
        The track.
    plane, curve, chainage_m, line
        The line it was laid along, on its plane, and how well that is known at chainages of it.
    """
    at = track.curve.chainages(_ROW_EVERY_M)
    if not track.closed:
        at = np.append(at[at < track.curve.length_m - 0.5], track.curve.length_m)
    place = plane.to_plane(*track.plane.to_geographic(track.curve.position(at)))
    where, _ = curve.project(place, track.curve.direction(at))
    return rows_of(at, *line.at(curve, chainage_m, where))


def rows_of(chainage_m: Floats, sigma_m: Floats, kind: Kinds) -> AccuracyProfile:
    """Leave out the rows that their neighbours tell, to 3 %, and keep where the kind changes."""
    kept = [0]
    for index in range(1, len(chainage_m)):
        changes = kind[index] != kind[index - 1]
        inside = np.arange(kept[-1] + 1, index)
        straight = np.interp(
            chainage_m[inside], chainage_m[[kept[-1], index]], sigma_m[[kept[-1], index]]
        )
        most = np.maximum(_ROW_WITHIN * sigma_m[inside], _LEAST_ROW_M)
        if len(inside) and np.any(np.abs(straight - sigma_m[inside]) > most):
            kept.append(index - 1)
        if changes:
            kept.append(index)
    kept.append(len(chainage_m) - 1)
    return tuple(
        AccuracyRow(round(float(chainage_m[i]), 2), round(float(sigma_m[i]), 3), kind[i].item())
        for i in dict.fromkeys(kept)
    )
