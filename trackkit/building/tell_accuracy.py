"""How well a line is known and how much of the drive it is made of: in the track, and in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.find_laps import FoundLap
from trackkit.building.fit import FittedLine
from trackkit.building.line_accuracy import KnownLine, profile_along
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.accuracy import AccuracyProfile, read_profile
from trackkit.track.model import Track
from trackkit.words import counted

_WORTH_TELLING = 0.01
_EVERY_M = 1.0


def with_accuracy(
    track: Track, plane: LocalPlane, curve: Curve, chainage_m: Floats, accuracy: KnownLine
) -> Track:
    """Give a track the accuracy of the line it was laid along, as profile and as a whole.

    Parameters
    ----------
    track
        The track.
    plane, curve, chainage_m, accuracy
        The line on its plane, and how well it is known at chainages of it, shape (n,).
    """
    return with_profile(track, profile_along(track, plane, curve, chainage_m, accuracy))


def with_profile(track: Track, profile: AccuracyProfile) -> Track:
    """Give a track an accuracy profile, and the root mean square of that as its accuracy."""
    curve = track.curve
    sigma, _ = read_profile(profile, curve.chainages(_EVERY_M), curve.length_m, closed=track.closed)
    return replace(
        track,
        centreline=replace(track.centreline, accuracy_profile=profile),
        accuracy_m=round(float(np.sqrt(np.mean(sigma**2))), 3),
    )


def accuracy_remarks(track: Track, fitted: FittedLine) -> tuple[str, ...]:
    """Say how well the line of a track is known, on what that rests, and where it is thin."""
    accuracy = fitted.accuracy
    low, high = np.quantile(accuracy.sigma_m, [0.05, 0.95]).tolist()
    remark = f"absolute accuracy {track.accuracy_m:.2f} m, one sigma"
    if high > 1.2 * low:
        remark += f" ({low:.2f} to {high:.2f} m along it)"
    remarks = [f"{remark}: {accuracy.basis}"]
    if accuracy.assumed:
        remarks.append(
            "how far the receiver wandered is assumed: one lap without reported accuracy does not "
            "tell it; a few more laps do"
        )
    metres = track.centreline.metres_of_kinds() or {"thin": 0.0}
    if metres["thin"] > 0:
        thin = accuracy.kind == "thin"
        sigma = float(np.sqrt(np.mean(accuracy.sigma_m[thin] ** 2))) if thin.any() else 0.0
        remarks.append(
            f"sparse logging: the fixes are far apart over {metres['thin']:,.0f} m "
            f"({100 * metres['thin'] / track.length_m:.0f} %) of the line, which is known to "
            f"{sigma:.1f} m there; log every fix, once a second or more often"
        )
    return tuple(remarks)


def left_out_remarks(
    per_recording: Sequence[Sequence[FoundLap]], used: Sequence[FoundLap]
) -> tuple[str, ...]:
    """Say how much of what was driven is in none of the runs that a course was built from.

    Parameters
    ----------
    per_recording
        The runs found in each recording.
    used
        Those the course was built from.
    """
    paths = {id(lap.path): lap.path for laps in per_recording for lap in laps}
    driven = sum((len(path.position_m) - 1) * path.step_m for path in paths.values())
    in_use = sum(min(lap.length_m, driven) for lap in used)
    left_out = driven - in_use
    if left_out < _WORTH_TELLING * driven:
        return ()
    share = 100.0 * left_out / driven
    remark = (
        f"{left_out:,.0f} of the {driven:,.0f} m recorded ({share:.0f} %) were left out: the "
        f"course is built from {counted(used, 'run')}, and stops of 5 s or more part runs; "
        "record the course in one go"
    )
    return (remark,)
