"""Lines drawn with known errors, and laps on the true ones: what revising makes of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.build import laps_by_recording
from trackkit.building.find_laps import FoundLap
from trackkit.building.fit import fit_line
from trackkit.building.from_line import build_from_line
from trackkit.building.revise import revise_track
from trackkit.geometry.curve import Curve
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.credit import MAP_SOURCE
from trackkit.track.model import Track


@dataclass(frozen=True, eq=False)
class Trial:
    """Sideways errors of three lines, metres, at places along the true one, shape (n,) each.

    Parameters
    ----------
    left
        Of the true line, shape (n, 2).
    drawn_m, laps_m, revised_m
        Of the line that was drawn, of the one built from the laps alone, and of what revising the
        first with the second made.
    stated_m
        What the revised file states of itself.
    """

    left: Floats
    drawn_m: Floats
    laps_m: Floats
    revised_m: Floats
    stated_m: float

    @property
    def shape_m(self) -> float:
        """Root mean square of what is left of the revised line's error after the best shift."""
        shift = np.linalg.lstsq(self.left, self.revised_m, rcond=None)[0]
        return float(np.sqrt(np.mean((self.revised_m - self.left @ shift) ** 2)))


def drawn_over(
    track: Track,
    generator: np.random.Generator,
    *,
    whole_m: float,
    local_m: float,
    over_m: float = 60.0,
    every_m: float = 20.0,
) -> Track:
    """Draw a track's line as one does from a picture: shifted as a whole, off from place to place.

    The local error is a Gaussian process that falls off to 1/e over `over_m`; the line is straight
    between places `every_m` apart.
    """
    curve = track.curve
    along = curve.chainages(every_m)
    apart = np.abs(along[:, None] - along)
    apart = np.minimum(apart, curve.length_m - apart)
    root = np.linalg.cholesky(np.exp(-((apart / over_m) ** 2)) + 1e-6 * np.eye(len(along)))
    aside = local_m * root @ generator.normal(size=len(along))
    place = curve.position(along) + curve.left(along) * aside[:, None]
    place = np.vstack([place, place[:1]]) + whole_m * generator.normal(size=2)
    longitude, latitude = track.plane.to_geographic(place)
    source = {"file": "made", "kind": MAP_SOURCE, "credit": "invented"}
    return build_from_line(longitude, latitude, "Drawn", sources=[source]).track


def some_laps(track: Track, laps: int, seed: int, *, doppler: bool = True) -> Recording:
    """Drive so many laps and a little more, with the usual receiver, all along the line itself.

    Without `doppler` it gives positions alone.
    """
    driven = simulate_drive(track, laps=laps, seed=seed, line_variation_m=0.0)
    times = [c["time_s"] for c in driven.truth["crossings"] if c["gate"] == track.finish.id]
    whole = driven.recording
    kept = (whole.time_s >= times[0] - 4.0) & (whole.time_s <= times[laps] + 4.0)
    assert whole.speed_mps is not None
    assert whole.course_deg is not None
    return Recording.from_arrays(
        whole.time_s[kept] - whole.time_s[kept][0],
        whole.longitude_deg[kept],
        whole.latitude_deg[kept],
        speed_mps=whole.speed_mps[kept] if doppler else None,
        course_deg=whole.course_deg[kept] if doppler else None,
        name="made",
    )


def aside_of(track: Track, plane_of: Track, curve: Curve, along: Floats) -> Floats:
    """How far a line is to the left of a true one at places of that, metres."""
    true = track.curve
    place = plane_of.plane.to_plane(*track.plane.to_geographic(true.position(along)))
    reached, _ = curve.project(place, true.direction(along))
    away = curve.position(reached) - place
    return np.asarray(np.einsum("ij,ij->i", away, true.left(along)))


def trial(
    track: Track,
    seed: int,
    *,
    laps: int,
    whole_m: float,
    local_m: float,
    over_m: float = 60.0,
    doppler: bool = True,
) -> Trial:
    """Draw a line, drive laps, revise the one with the other, and measure all three."""
    generator = np.random.default_rng([seed, laps])
    drawn = drawn_over(track, generator, whole_m=whole_m, local_m=local_m, over_m=over_m)
    recording = some_laps(track, laps, seed, doppler=doppler)
    revised = revise_track(drawn, [recording]).build.track
    per_recording, _ = laps_by_recording([recording], drawn.plane, is_open=False)
    whole: list[FoundLap] = list(per_recording[0])
    along = track.curve.chainages(4.0)
    return Trial(
        track.curve.left(along),
        aside_of(track, drawn, drawn.curve, along),
        aside_of(track, drawn, fit_line(whole, closed=True).curve, along),
        aside_of(track, revised, revised.curve, along),
        float(revised.accuracy_m or np.nan),
    )


def ratio_to_best(trials: list[Trial]) -> tuple[float, float, float, float]:
    """Hold errors against those of the best weighting of both lines.

    The weights are those of the inverse of the variances that drawn lines and laps really had, over
    all trials (the weighed mean of least variance of two independent values; any textbook).

    Returns
    -------
    drawn_m, laps_m, best_m, revised_m
        Root mean squares over all trials and places.
    """
    drawn = np.concatenate([one.drawn_m for one in trials])
    laps = np.concatenate([one.laps_m for one in trials])
    revised = np.concatenate([one.revised_m for one in trials])
    weight = np.mean(laps**2) / (np.mean(laps**2) + np.mean(drawn**2))
    best = weight * drawn + (1.0 - weight) * laps
    rms = [float(np.sqrt(np.mean(error**2))) for error in (drawn, laps, best, revised)]
    return rms[0], rms[1], rms[2], rms[3]
