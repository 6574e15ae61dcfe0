"""New laps folded into a track: averaged where it is unchanged, replaced where it has changed."""

from __future__ import annotations

import reprlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.build import (
    Build,
    band_driven,
    laps_by_recording,
    source_entries,
    with_reasons,
)
from trackkit.building.drawn_and_driven import moved_towards_drawn
from trackkit.building.find_laps import FoundLap
from trackkit.building.fit import FittedLine, fit_line
from trackkit.building.layouts import Layout, layouts_of, share_of
from trackkit.building.line_accuracy import KnownLine
from trackkit.building.onto_line import datum_onto, gates_beside, with_gates_onto
from trackkit.building.tell_accuracy import with_accuracy
from trackkit.errors import NoLapError
from trackkit.gates.square import square_ends
from trackkit.geometry.curve import Curve
from trackkit.geometry.kinks import find_kinks
from trackkit.geometry.runs import runs_of
from trackkit.geometry.smoothing import moving_mean, smoothed_curve
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.accuracy import ACCURACY_KINDS, ranks_of
from trackkit.track.credit import is_map_drawn
from trackkit.track.derive import with_line
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.track.places import to_decimetre
from trackkit.words import counted

CHANGED_M = 3.0
"""Where new laps run this far from the old line, the receivers' shift aside, the track changed."""
CHANGED_SIGMAS = 4.0
_CHANGED_OVER_M = 8.0
_AGREES_M = 0.7
_BLEND_M = 30.0
_SPACING_M = 1.0
_UNKNOWN_ACCURACY_M = 1.0
_LEAST_SHARE = 0.5
_KNIT_WAVELENGTH_M = 5.0
_KINK_REACH_M = 15.0


@dataclass(frozen=True)
class ChangedStretch:
    """A stretch that new laps drive elsewhere: chainages of the old track, and how far away."""

    begin_m: float
    end_m: float
    most_m: float


@dataclass(frozen=True, eq=False)
class Revision:
    """A track revised.

    Parameters
    ----------
    build
        The new track and how it came about.
    changed
        Stretches where the track itself has changed.
    shift_m
        How far the line as a whole moved, east and north, metres.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, rate_hz=5, seed=1)
    >>> revision = trackkit.revise_track(track, [drive.recording])
    >>> len(revision.changed), revision.build.laps_used
    (0, 3)
    """

    build: Build
    changed: tuple[ChangedStretch, ...]
    shift_m: tuple[float, float]

    def __repr__(self) -> str:
        east, north = self.shift_m
        moved = f"moved {east:+.2f} m east and {north:+.2f} m north"
        changed = counted(self.changed, "changed stretch", "changed stretches")
        return f"Revision({reprlib.repr(self.build.track.id)}, {moved}, {changed})"


def revise_track(track: Track, recordings: Sequence[Recording]) -> Revision:
    """Fold new laps into a track.

    The new laps make a line of their own.  Its shift as a whole is averaged with the old line's
    place, each weighed by its accuracy; what is left of the sideways distance is averaged by
    numbers of laps.  Where that distance is more than `CHANGED_M` (and than `CHANGED_SIGMAS` of
    the new mean's) over 8 m or more, the track has changed, and the new line is taken.  Where the
    old line is the centre between edges, or drawn, driven laps do not move it: only a stretch
    driven outside the band counts as changed.  A line as open map data have it is another matter:
    the laps make its shape, and it only tells how far the receiver wandered
    (`trackkit.building.drawn_and_driven`).

    Ids, names and the gates' ends stay; chainages follow.

    Parameters
    ----------
    track
        The track.
    recordings
        One or more new ones of it.

    Returns
    -------
    Revision
        The track revised, and what changed.

    Raises
    ------
    NoLapError
        When no recording holds a whole lap, or none of this track.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, rate_hz=5, seed=1)
    >>> revision = trackkit.revise_track(track, [drive.recording])
    >>> revision.build.track.id == track.id, revision.changed
    (True, ())
    """
    per_recording, remarks = laps_by_recording(recordings, track.plane, is_open=not track.closed)
    layout = _layout_of(track, [lap for recording_laps in per_recording for lap in recording_laps])
    fitted = fit_line(layout.laps, closed=track.closed, strays=layout.strays)
    remarks += tuple(reason for _, reason in fitted.rejected)

    old = track.curve
    chainage = old.chainages(_SPACING_M)
    reached, lateral = _lateral(old, chainage, fitted.curve)
    left = old.left(chainage)
    shift = _shift(left, lateral)
    rest = lateral - left @ shift
    limit = np.maximum(CHANGED_M, CHANGED_SIGMAS * _error_of_mean(fitted, reached))
    if track.line == "centre":
        limit = limit + 0.5 * track.band_m
    mapped = is_map_drawn(track)
    changed = _changed(rest, limit, float(chainage[1]), closed=old.closed)
    if mapped:
        # Nobody has driven the line before: it was drawn wrongly, and has not changed.
        changed = np.zeros(len(rest), dtype=bool)
    new_alone = changed | _near_kinks(old, chainage)

    if changed.mean() > _LEAST_SHARE:
        raise NoLapError(
            f"the laps leave the line of {track.name} over {100 * changed.mean():.0f} % of it",
            remedy="build a track of its own from these laps",
        )

    accuracy = track.accuracy_m or _UNKNOWN_ACCURACY_M
    share = accuracy**2 / (accuracy**2 + fitted.accuracy_m**2)
    before = sum(int(source.get("laps", 0)) for source in track.sources)
    count = len(fitted.laps) / (len(fitted.laps) + max(before, 1))
    if track.line == "centre":
        share = count = 0.0
    stretches = _stretches(chainage, rest, changed, closed=old.closed)
    if mapped:
        revised, shift = _driven_first(track, fitted, chainage, accuracy)
        share, track = 1.0, replace(track, line="driven")
    else:
        curve = _knit(old, fitted.curve, chainage, reached, rest, new_alone, count, share, shift)
        known = _known_together(track, fitted, chainage, reached, new_alone, accuracy, share)
        revised = _with_known(_revised(track, curve, fitted), track, fitted, chainage, known)
    beside = gates_beside(revised)
    more = tuple(f"the gate {g.id} ({g.name}) does not cross the new line" for g in beside)
    when = now()
    used = {id(lap) for lap in fitted.laps}
    revised = replace(
        revised, sources=(*track.sources, *source_entries(recordings, per_recording, used))
    )
    number = len(fitted.laps)
    what = f"revised with {number} {'lap' if track.closed else 'run'}{'s' if number > 1 else ''}"
    if stretches:
        what += "; changed at " + ", ".join(f"{s.begin_m:.0f}-{s.end_m:.0f} m" for s in stretches)
    revised = revised.revised_by(what, when)
    removed: dict[str, int] = {}
    for recording in recordings:
        for reason, gone in recording.removed.items():
            removed[reason] = removed.get(reason, 0) + gone
    change_remarks = tuple(
        f"the track has changed between {s.begin_m:.0f} m and {s.end_m:.0f} m, by up to "
        f"{s.most_m:.1f} m: the new laps alone make the line there"
        for s in stretches
    )
    if track.line == "centre":
        change_remarks += (
            "the line of this track is its centre: laps driven on it do not move it",
        )
    build = Build(
        revised,
        number,
        removed,
        (*remarks, *change_remarks, *more),
        fitted,
        band_driven(fitted, revised, track.plane),
        with_reasons(per_recording, fitted),
        tuple(
            Remedy(f"move {g.name} onto it", "gate move", g.id, to_decimetre(revised, g.chainage_m))
            for g in beside
        ),
    )
    moved = share * shift
    return Revision(build, stretches, (float(moved[0]), float(moved[1])))


def _driven_first(
    track: Track, fitted: FittedLine, chainage_m: Floats, accuracy_m: float
) -> tuple[Track, Floats]:
    """Lay a track of open map data along laps; returns also how far it moved as a whole."""
    driven = moved_towards_drawn(fitted, track.curve, accuracy_m)
    revised = replace(_revised(track, driven.curve, fitted), line="driven")
    revised = with_accuracy(
        _suggested_across(revised), track.plane, driven.curve, driven.chainage_m, driven.accuracy
    )
    what = (
        "drawn in open map data, and driven for the first time: the drawn line was off by "
        f"{driven.drawn_m:.1f} m, one sigma"
    )
    _, aside = _lateral(track.curve, chainage_m, driven.curve)
    return revised.revised_by(what, now()), _shift(track.curve.left(chainage_m), aside)


def _with_known(
    revised: Track, track: Track, fitted: FittedLine, chainage_m: Floats, known: KnownLine
) -> Track:
    """Say of a revised track how well it is known, by chainages of the one before."""
    if track.line == "driven" or track.centreline.accuracy_profile is not None:
        revised = with_accuracy(revised, track.plane, track.curve, chainage_m, known)
    if track.line != "driven":
        return revised
    accuracy_m = track.accuracy_m or _UNKNOWN_ACCURACY_M
    return revised.revised_by(
        f"accuracy_m estimated from {'' if track.accuracy_m else 'an assumed '}"
        f"{accuracy_m:.2f} m of the line before and {fitted.accuracy_m:.2f} m of the new laps "
        f"({fitted.accuracy.basis}), taken as independent",
        now(),
    )


def _known_together(
    track: Track,
    fitted: FittedLine,
    chainage_m: Floats,
    reached_m: Floats,
    changed: Flags,
    accuracy_m: float,
    share: float,
) -> KnownLine:
    """Tell how well the mean of an old and a new line is known, by chainages of the old.

    The two are taken as independent.  Where the track has changed, the new line is as it is.
    """
    before = track.centreline.accuracy_at(chainage_m)
    if before is None:
        before = np.full(len(chainage_m), accuracy_m), np.full(len(chainage_m), "measured")
    fresh, fresh_kind = fitted.accuracy.at(fitted.curve, fitted.chainage_m, reached_m)
    taken = np.where(changed, 1.0, share)
    sigma = np.hypot((1.0 - taken) * before[0], taken * fresh)
    rank = ranks_of(before[1]), ranks_of(fresh_kind)
    better = rank[0] if share == 0.0 else np.minimum(*rank)
    kind = np.array(ACCURACY_KINDS)[np.where(changed, rank[1], better)]
    return KnownLine(np.asarray(sigma), kind, fitted.accuracy.basis, fitted.accuracy.assumed)


def _near_kinks(old: Curve, chainage_m: Floats) -> Flags:
    """Mark where the old line cannot be driven: averaged with laps, half of a kink would stay."""
    near = np.zeros(len(chainage_m), dtype=bool)
    for kink in find_kinks(old)[0].tolist():
        near |= old.separation(chainage_m, kink) <= _KINK_REACH_M
    return near


def _layout_of(track: Track, laps: list[FoundLap]) -> Layout:
    """Pick the laps of the layout that is most like a track."""
    if not track.closed:
        return Layout(tuple(laps))
    layouts = layouts_of(laps)
    shares = [share_of(track.curve, layout.laps[0]) for layout in layouts]
    best = int(np.argmax(shares))
    if shares[best] < _LEAST_SHARE:
        names = ", ".join(sorted({lap.path.drive.recording.name for lap in laps}))
        raise NoLapError(
            f"no lap follows {track.name} the way it is driven: the most alike shares "
            f"{100 * shares[best]:.0f} % of it",
            file=names,
            remedy="build a track of its own from these laps",
        )
    return layouts[best]


def _lateral(old: Curve, chainage_m: Floats, new: Curve) -> tuple[Floats, Floats]:
    """Find where a new line passes beside each place of an old one, and how far to its left."""
    position, ahead = old.position(chainage_m), old.direction(chainage_m)
    reached, _ = new.project(position, ahead)
    away = new.position(reached) - position
    return reached, np.asarray(np.einsum("ij,ij->i", away, old.left(chainage_m)))


def _shift(left: Floats, lateral: Floats) -> Floats:
    """Fit the shift as a whole, without what lies far from it."""
    counts = np.ones(len(lateral), dtype=bool)
    shift: Floats = np.zeros(2)
    for _ in range(4):
        shift = np.asarray(np.linalg.lstsq(left[counts], lateral[counts], rcond=1e-2)[0])
        rest = np.abs(lateral - left @ shift)
        counts = rest <= max(3.0 * float(np.median(rest)), 0.5)
    return shift


def _error_of_mean(fitted: FittedLine, reached: Floats) -> Floats:
    if len(fitted.laps) < 2:
        return np.zeros(len(reached))
    total = np.maximum(fitted.weight.sum(axis=0), 1.0)
    error = np.nan_to_num(fitted.spread_m) / np.sqrt(total)
    return np.asarray(np.interp(reached, fitted.chainage_m, error))


def _changed(rest: Floats, limit: Floats, step_m: float, *, closed: bool) -> Flags:
    """Mark changed stretches, out to where both lines agree again."""
    far = np.abs(rest) > limit
    marked = np.zeros(len(rest), dtype=bool)
    count = len(rest)
    for begin, end in runs_of(far, closed=closed):
        if (end - begin) * step_m < _CHANGED_OVER_M:
            continue
        for way, at in ((-1, begin), (1, (end - 1) % count)):
            here = at
            for _ in range(count):
                marked[here] = True
                further = here + way
                if not closed and not 0 <= further < count:
                    break
                here = further % count
                if abs(rest[here]) < _AGREES_M:
                    break
        marked[np.arange(begin, end) % count] = True
    return marked


def _knit(
    old: Curve,
    new: Curve,
    chainage: Floats,
    reached: Floats,
    rest: Floats,
    changed: Flags,
    count: float,
    share: float,
    shift: Floats,
) -> Curve:
    """Lay one line out of the averaged stretches and the changed ones."""
    left = old.left(chainage)
    step = float(chainage[1] - chainage[0])
    near = moving_mean(changed.astype(float), 2 * _BLEND_M, step, closed=old.closed)
    weight = np.where(changed, 1.0, count + (1.0 - count) * np.minimum(2.0 * near, 1.0))
    point = old.position(chainage) + share * shift + left * (weight * rest)[:, None]
    pieces = []
    runs = runs_of(changed, closed=old.closed)
    if not runs:
        return smoothed_curve(point, closed=old.closed, wavelength_m=_KNIT_WAVELENGTH_M)
    size = len(chainage)
    kept = [
        np.arange(end, end + (following - end) % size) % size
        for (_, end), (following, _) in zip(runs, [*runs[1:], runs[0]], strict=True)
    ]
    if not old.closed:
        kept[-1] = np.arange(runs[-1][1], size)
        pieces.append(point[: runs[0][0]])
    for (begin, end), after in zip(runs, kept, strict=True):
        ahead = float(new.along(reached[begin], reached[(end - 1) % size]))
        places = reached[begin] + np.linspace(0.0, ahead, max(2, int(ahead / _SPACING_M)))
        pieces.append(new.position(places) - (1.0 - share) * shift)
        pieces.append(point[after])
    line = np.concatenate(pieces)
    return smoothed_curve(line, closed=old.closed, wavelength_m=_KNIT_WAVELENGTH_M)


def _stretches(
    chainage: Floats, rest: Floats, changed: Flags, *, closed: bool
) -> tuple[ChangedStretch, ...]:
    stretches = []
    for begin, end in runs_of(changed, closed=closed):
        inside = np.arange(begin, end) % len(rest)
        first, last = chainage[inside[[0, -1]]].tolist()
        stretches.append(ChangedStretch(first, last, float(np.abs(rest[inside]).max())))
    return tuple(stretches)


def _revised(track: Track, curve: Curve, fitted: FittedLine) -> Track:
    """Lay the track on its new line; gates stay on the ground, chainages follow."""
    datum = datum_onto(track, curve)
    new = with_line(track, curve, track.plane, datum, _heights(track, curve, fitted))
    profile = track.centreline.width_profile
    if profile is not None:
        where, _ = new.curve.project(
            new.plane.to_plane(
                *track.plane.to_geographic(track.curve.position([row[0] for row in profile]))
            )
        )
        profile = tuple(
            sorted((float(at), *row[1:]) for at, row in zip(where, profile, strict=True))
        )
    line, was = new.centreline, track.centreline
    new = replace(
        new,
        centreline=replace(
            line,
            width_m=was.width_m,
            width_profile=profile,
            id=was.id,
            properties=was.properties,
            members=was.members,
        ),
    )
    return with_gates_onto(new, track)


def _suggested_across(track: Track) -> Track:
    """Lay gates that are suggestions square to the line again."""
    gates = []
    for gate in track.gates:
        if gate.suggested:
            left, right, _ = square_ends(track, gate.chainage_m, gate.width_m)
            gate = replace(gate, left=left, right=right)
        gates.append(gate)
    return track.with_gates(gates)


def _heights(track: Track, curve: Curve, fitted: FittedLine) -> tuple[Floats, Floats] | None:
    """Heights along the new line: those the track has, else those of the new laps."""
    chainage = curve.chainages(5.0)
    place, ahead = curve.position(chainage), curve.direction(chainage)
    if track.centreline.height_m is not None:
        where, _ = track.curve.project(place, ahead)
        height = track.centreline.height_m[: len(track.curve.vertex_chainage_m)]
        period = track.curve.length_m if track.closed else None
        return chainage, np.interp(where, track.curve.vertex_chainage_m, height, period=period)
    if np.all(np.isfinite(fitted.height_m)):
        where, _ = fitted.curve.project(place, ahead)
        period = fitted.curve.length_m if track.closed else None
        return chainage, np.interp(where, fitted.chainage_m, fitted.height_m, period=period)
    return None
