"""A surveyed point: a stationary recording averaged, its accuracy with the receiver's wander."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, robust_spread
from trackkit.errors import RecordingError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.gauss_markov import covariance_of_neighbouring_means, variance_of_mean
from trackkit.motion.noise import USUAL
from trackkit.recordings.recording import Recording
from trackkit.track.features import Position
from trackkit.track.places import Place

FEWEST_FIXES = 10
FARTHEST_M = 25.0
"""A recording that spreads farther than this was not made standing still."""
TIME_CONSTANTS = 20.0
"""A recording must last so many time constants of its wander for the wander's size to be read."""
TELLS_FROM_S = 1200.0
"""A shorter recording cannot show that there is no wander either: ten usual time constants."""
_STRAY_SIGMAS = 6.0
_BLOCK_S = 10.0
_LONGEST_MEANS = 8
_SEEN = 9.0
"""Weighted squares must fall by this much for a wander to be taken as real: three sigma."""
_TRIED_S = np.geomspace(2.0, 600.0, 40)


@dataclass(frozen=True)
class Survey:
    """An averaged point.

    Parameters
    ----------
    position
        Longitude and latitude, degrees.
    sigma_m
        One sigma on one horizontal axis, the receiver's wander reckoned with.
    naive_m
        Standard deviation of the fixes on one axis over the root of their number: the accuracy if
        fixes were independent, which they are not; far too small.
    seconds
        Over which it was averaged.
    fixes, left_out
        How many were averaged, and how many strayed.
    wander_m, wander_time_s
        The wander reckoned with.
    wander_from_recording
        Whether the wander was read from the recording; else it was assumed.
    """

    position: Position
    sigma_m: float
    naive_m: float
    seconds: float
    fixes: int
    left_out: int
    wander_m: float
    wander_time_s: float
    wander_from_recording: bool

    @property
    def basis(self) -> str:
        """What the accuracy rests on, a clause."""
        if not self.wander_from_recording:
            return (
                f"a wander of {self.wander_m:.2f} m over {self.wander_time_s:.0f} s assumed, as "
                f"{self.seconds:.0f} s are too few to tell"
            )
        if self.wander_m < 1e-3:
            return "no wander to be seen in the recording itself"
        return (
            f"a wander of {self.wander_m:.2f} m over {self.wander_time_s:.0f} s, as the recording "
            "itself shows"
        )


def survey_place(left: Recording, right: Recording) -> Place:
    """Average two stationary recordings into a place with two surveyed ends.

    Parameters
    ----------
    left, right
        Recorded standing still at the ends of a gate, as seen in the racing direction.

    Returns
    -------
    Place
        For `trackkit.place_gate` and `trackkit.move_gate`; its `remarks` say how well each end is
        known.

    Raises
    ------
    RecordingError
        When a recording was not made standing still, or holds too few fixes.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> def standing(longitude, latitude):
    ...     longitudes, latitudes = [longitude] * 60, [latitude] * 60
    ...     return trackkit.Recording.from_arrays(range(60), longitudes, latitudes)
    >>> left, right = (standing(*end) for end in (track.finish.left, track.finish.right))
    >>> place = trackkit.survey_place(left, right)
    >>> change = trackkit.place_gate(track, "speed", place)
    >>> change.gate.surveyed, round(change.gate.width_m)
    (True, 16)
    """
    ends = {"left": average(left), "right": average(right)}
    texts = tuple(
        f"the {side} end is the mean of {end.fixes} fixes over {end.seconds:.0f} s, uncertain by "
        f"{end.sigma_m:.2f} m on each axis (one sigma; {end.basis})"
        for side, end in ends.items()
    )
    return Place(ends=(ends["left"].position, ends["right"].position), remarks=texts)


def average(recording: Recording) -> Survey:
    """Average a stationary recording into a point.

    Fixes are correlated: a receiver wanders by about a metre over minutes, a Gauss-Markov process
    of whose mean over a time `variance_of_mean` tells the variance.  Wander and time constant are
    read from the recording's Allan variance where it is long enough for that (`wander_shown`).
    Otherwise the wander is taken to be the usual one, or as much as ten-second means scatter if
    that is more; never less, since a recording shorter than some time constants shows little of
    its own wander.

    Parameters
    ----------
    recording
        Of a receiver that stood still.

    Raises
    ------
    RecordingError
        With few fixes, or when it moved.
    """
    if len(recording) < FEWEST_FIXES:
        raise RecordingError(
            f"{len(recording)} fixes are too few to average",
            file=recording.name,
            remedy="let the receiver stand for some minutes",
        )
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    position = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    away = position - np.median(position, axis=0)
    usual = float(robust_spread(away, about=0.0)) + 1e-9
    kept = np.linalg.norm(away, axis=1) <= max(_STRAY_SIGMAS * usual, 0.05)
    reach = float(np.quantile(np.linalg.norm(away, axis=1), 0.9))
    if reach > FARTHEST_M:
        raise RecordingError(
            f"moves by {reach:.0f} m, so it was not made standing still",
            file=recording.name,
            remedy="give a recording of a receiver left on the gate's end",
        )
    if np.count_nonzero(kept) < FEWEST_FIXES:
        raise RecordingError(
            f"of {len(recording)} fixes {np.count_nonzero(kept)} lie together, too few to average",
            file=recording.name,
            remedy="let the receiver stand for some minutes",
        )
    used, time = position[kept], recording.time_s[kept]
    mean = used.mean(axis=0)
    seconds = float(time[-1] - time[0])
    scatter = float(np.sqrt(((used - mean) ** 2).sum(axis=0).mean() / max(len(used) - 1, 1)))
    shown = wander_shown(used, time)
    if shown is None:
        wander = max(USUAL.wander_m, _block_scatter(used, time, mean))
        constant, doubt = USUAL.wander_time_s, 1.0
        white = USUAL.white_m
    else:
        wander, constant, white = shown
        # The longest means, which tell most of this, are eight on each of two axes.
        doubt = _student(2 * _LONGEST_MEANS)
    variance = wander**2 * float(variance_of_mean(seconds, constant)) + white**2 / len(used)
    longitude, latitude = plane.to_geographic(mean)
    return Survey(
        position=(float(longitude), float(latitude)),
        sigma_m=doubt * float(np.sqrt(variance)),
        naive_m=scatter / float(np.sqrt(len(used))),
        seconds=seconds,
        fixes=len(used),
        left_out=int((~kept).sum()),
        wander_m=wander,
        wander_time_s=constant,
        wander_from_recording=shown is not None,
    )


def wander_shown(position_m: Floats, time_s: Floats) -> tuple[float, float, float] | None:
    """Read a receiver's wander from the Allan variance of its positions.

    For averaging times m the Allan variance is half the mean square difference of neighbouring
    means, the deviation written sigma_y(tau) in IEEE Std 1139 (from memory; there for frequency).
    White noise gives w^2 d / m at a spacing d of fixes; a Gauss-Markov process the variance of its
    mean over m less the covariance of neighbouring means.  Both are fitted over a grid of time
    constants by weighted least squares, each averaging time counting as many times as it has
    differences.

    Parameters
    ----------
    position_m
        Shape (n, 2).
    time_s
        Shape (n,).

    Returns
    -------
    wander_m, wander_time_s, white_m, or None
        None where the recording is shorter than `TELLS_FROM_S` or than `TIME_CONSTANTS` of what it
        shows.
    """
    from scipy.optimize import nnls

    seconds = float(time_s[-1] - time_s[0])
    spacing = float(np.median(np.diff(time_s)))
    if seconds < TELLS_FROM_S or spacing > _BLOCK_S:
        return None
    span = (
        np.unique(np.round(np.geomspace(spacing, seconds / _LONGEST_MEANS, 25) / spacing)) * spacing
    )
    allan = np.array([_allan_variance(position_m, time_s, span_s) for span_s in span])
    weight = np.sqrt(2.0 * seconds / span)
    best = (np.inf, 0.0, 0.0, 0.0)
    for constant in _TRIED_S:
        own = variance_of_mean(span, constant)
        shared = covariance_of_neighbouring_means(span, constant)
        model = np.stack([own - shared, spacing / span], axis=1)
        # An estimated variance scatters in proportion to its size.
        scale = (weight / np.maximum(allan, 1e-12))[:, None]
        variance, rest = nnls(model * scale, allan * scale[:, 0])
        if rest < best[0]:
            best = (float(rest), float(variance[0]), float(constant), float(variance[1]))
    least, wander, constant, white = best
    scale = weight / np.maximum(allan, 1e-12)
    alone, worse = nnls((spacing / span * scale)[:, None], allan * scale)
    if worse**2 - least**2 < _SEEN:
        return 0.0, 0.0, float(np.sqrt(alone[0]))
    if seconds < TIME_CONSTANTS * constant:
        return None
    return float(np.sqrt(wander)), constant, float(np.sqrt(white))


def _block_means(position_m: Floats, time_s: Floats, span_s: float) -> Floats:
    """Mean positions over one stretch of time after the other, NaN where a stretch has no fix."""
    block = np.floor((time_s - time_s[0]) / span_s + 1e-6).astype(np.intp)
    count = np.bincount(block)
    with np.errstate(invalid="ignore"):
        return np.stack([np.bincount(block, axis) / count for axis in position_m.T], axis=1)


def _allan_variance(position_m: Floats, time_s: Floats, span_s: float) -> float:
    """Half the mean square difference of neighbouring means, on one axis."""
    means = _block_means(position_m, time_s, span_s)
    difference = np.diff(means[:-1] if len(means) > 2 else means, axis=0)
    return float(0.5 * np.nanmean(difference**2))


def _student(freedom: int) -> float:
    """By how much an interval of 95 % is wider for a sigma read from few values."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975) / 1.96)


def _block_scatter(position_m: Floats, time_s: Floats, mean_m: Floats) -> float:
    """Scatter of the means of ten-second blocks, on one axis: white noise is gone from it."""
    means = _block_means(position_m, time_s, _BLOCK_S)
    return float(np.sqrt(np.nanmean((means - mean_m) ** 2)))
