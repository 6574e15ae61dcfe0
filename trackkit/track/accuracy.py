"""How well each metre of a line is known, and the verdict on a track, as its file has them."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats, Indices
from trackkit.errors import TrackFileError

AccuracyKind = Literal["measured", "thin", "carried", "drawn"]
ACCURACY_KINDS: tuple[AccuracyKind, ...] = get_args(AccuracyKind)
Kinds = NDArray[np.str_]
"""One of `ACCURACY_KINDS` a place."""


@dataclass(frozen=True)
class AccuracyRow:
    """How well a line is known from one chainage on.

    Parameters
    ----------
    chainage_m
        Where it begins, metres.
    sigma_m
        One sigma of the sideways place of the line there, metres on the ground; between two rows it
        changes evenly.
    kind
        From here to the next row: ``measured`` where fixes are near, ``thin`` where they are
        sparse, ``carried`` where the line bridges a gap without fixes, ``drawn`` where it was
        drawn rather than recorded.
    """

    chainage_m: float
    sigma_m: float
    kind: AccuracyKind

    def as_row(self) -> list[float | str]:
        """Return the row as JSON: metres to a centimetre."""
        return [round(self.chainage_m, 2), round(self.sigma_m, 2), self.kind]


AccuracyProfile = tuple[AccuracyRow, ...]
"""Rows by rising chainage.  On a closed line the last one holds on to the first."""


@dataclass(frozen=True)
class Verdict:
    """Whether a track is fit to hand on, as it was judged.

    Parameters
    ----------
    fit
        Whether it is.
    reasons
        Why not, a clause each; empty where it is fit.
    digest
        Of the geometry that was judged: the verdict holds only while the track's own is the same.
    date
        Day on which it was judged, an RFC 3339 full-date.
    members
        Of the verdict in the file: those that trackkit does not know.
    """

    fit: bool
    reasons: tuple[str, ...]
    digest: str
    date: str
    members: Mapping[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Verdict({'fit' if self.fit else 'not fit'}, {reprlib.repr(self.digest)})"

    def as_row(self) -> dict[str, Any]:
        """Return the verdict as JSON, members included that trackkit does not know."""
        return {
            "fit": self.fit,
            "reasons": list(self.reasons),
            "digest": self.digest,
            "date": self.date,
            **self.members,
        }


def ranks_of(kind: Kinds) -> Indices:
    """Rank kinds, the surest first, as `ACCURACY_KINDS` lists them."""
    return np.array([ACCURACY_KINDS.index(some) for some in kind.tolist()], dtype=np.intp)


def verdict_from(row: Mapping[str, Any]) -> Verdict:
    """Read a verdict from the JSON of a track file.

    Raises
    ------
    TrackFileError
        When it lacks one of its members, or one is of another kind.
    """
    texts = (row.get("digest"), row.get("date"), *row.get("reasons", (None,)))
    if not isinstance(row.get("fit"), bool) or not all(isinstance(text, str) for text in texts):
        raise TrackFileError(
            "verdict is none", place="track", remedy="leave it out: it is judged anew"
        )
    own = {"fit", "reasons", "digest", "date"}
    return Verdict(
        fit=bool(row["fit"]),
        reasons=tuple(row["reasons"]),
        digest=row["digest"],
        date=row["date"],
        members={name: value for name, value in row.items() if name not in own},
    )


def require_profile(profile: Sequence[AccuracyRow], place: str) -> None:
    """Refuse a profile that says nothing certain.

    Parameters
    ----------
    profile
        Its rows.
    place
        What to call it in an error.

    Raises
    ------
    TrackFileError
        When it has no row, a chainage is negative or does not rise, a sigma is no finite number of
        0 or more, or a kind is none of `ACCURACY_KINDS`.
    """
    what = ""
    if not profile:
        what = "holds no row"
    before = -1.0
    for number, row in enumerate(profile, start=1):
        if not (np.isfinite(row.chainage_m) and row.chainage_m >= 0.0):
            what = f"row {number} begins at {row.chainage_m} m, which is no place on the line"
        elif row.chainage_m <= before:
            what = (
                f"row {number} begins at {row.chainage_m} m, not beyond the row before it at "
                f"{before} m"
            )
        elif not (np.isfinite(row.sigma_m) and row.sigma_m >= 0.0):
            what = f"row {number} has a sigma of {row.sigma_m} m, which is no uncertainty"
        elif row.kind not in ACCURACY_KINDS:
            what = f"row {number} is {row.kind!r}, which is none of {', '.join(ACCURACY_KINDS)}"
        if what:
            break
        before = row.chainage_m
    if what:
        raise TrackFileError(
            what,
            place=f"{place}, accuracy_profile",
            remedy="write rows of chainage, sigma and kind by rising chainage, or leave it out",
        )


def read_profile(
    profile: Sequence[AccuracyRow], chainage_m: ArrayLike, length_m: float, *, closed: bool
) -> tuple[Floats, Kinds]:
    """Read sigma and kind at places along a line.

    Parameters
    ----------
    profile
        Rows of the line, at least one.
    chainage_m
        Places, metres, any shape; on a closed line any number of laps on or back.
    length_m
        Length of the line, metres.
    closed
        Whether it is a lap.

    Returns
    -------
    sigma_m, kind
        Of the shape of `chainage_m`.
    """
    begin = np.array([row.chainage_m for row in profile])
    sigma = np.array([row.sigma_m for row in profile])
    kind = np.array([row.kind for row in profile])
    at = np.asarray(chainage_m, dtype=float)
    if closed:
        at = np.mod(at, length_m)
    # Before the first row of a lap its last one holds; before that of a course, the first itself.
    index = np.searchsorted(begin, at, side="right") - 1
    index = index % len(begin) if closed else np.maximum(index, 0)
    return np.asarray(np.interp(at, begin, sigma, period=length_m if closed else None)), kind[index]


def metres_of_kinds(
    profile: Sequence[AccuracyRow], length_m: float, *, closed: bool
) -> dict[AccuracyKind, float]:
    """Add up how far a line is of each kind.

    Parameters
    ----------
    profile
        Rows of the line, at least one.
    length_m
        Length of the line, metres.
    closed
        Whether it is a lap.

    Returns
    -------
    dict
        Metres by kind, all of `ACCURACY_KINDS`, together the length of the line.
    """
    begin = np.clip([row.chainage_m for row in profile], 0.0, length_m)
    reach = np.diff(np.append(begin, length_m))
    reach[-1 if closed else 0] += begin[0]
    metres: dict[AccuracyKind, float] = dict.fromkeys(ACCURACY_KINDS, 0.0)
    for row, some in zip(profile, reach.tolist(), strict=True):
        metres[row.kind] += some
    return metres


def begun_at(profile: Sequence[AccuracyRow], chainage_m: float, length_m: float) -> AccuracyProfile:
    """Count the chainages of a closed line's profile from another place of it."""
    moved = [
        replace(row, chainage_m=float(np.mod(row.chainage_m - chainage_m, length_m)))
        for row in profile
    ]
    return _rising(moved)


def turned(profile: Sequence[AccuracyRow], length_m: float, *, closed: bool) -> AccuracyProfile:
    """Write the profile of the same line driven the other way.

    A row's kind then holds up to the place where it began, so that each row takes that of the row
    before it.
    """
    rows = sorted(profile, key=lambda row: row.chainage_m)
    # Nothing comes before the first row of a course, which holds back to the beginning itself.
    kinds = [rows[-1 if closed else 0].kind, *(row.kind for row in rows[:-1])]
    every = []
    for row, kind in zip(rows, kinds, strict=True):
        at = length_m - row.chainage_m
        every.append(AccuracyRow(at % length_m if closed else max(at, 0.0), row.sigma_m, kind))
    if not closed and rows[-1].chainage_m < length_m:
        every.append(AccuracyRow(0.0, rows[-1].sigma_m, rows[-1].kind))
    return _rising(every)


def _rising(rows: Sequence[AccuracyRow]) -> AccuracyProfile:
    """Sort rows; of those at one place, to a centimetre, the later one stays."""
    by_place = {round(row.chainage_m, 2): row for row in sorted(rows, key=lambda r: r.chainage_m)}
    return tuple(by_place.values())
