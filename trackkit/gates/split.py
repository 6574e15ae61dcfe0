"""A lap split into sectors by suggested gates, and the gates put where they are suggested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from trackkit.gates.quality import TimingQuality, timing_quality
from trackkit.gates.suggest import Basis, Suggestion, best_split, with_suggested_gates
from trackkit.recordings.recording import Recording
from trackkit.track.derive import renamings
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.words import counted


@dataclass(frozen=True)
class ExpectedSector:
    """A sector between suggested gates, and what its times will be worth.

    Parameters
    ----------
    number
        Counts from 1, in racing order.
    begin_m, end_m
        Chainages, metres.
    time_s
        At the speeds reckoned with.
    sigma_s
        One sigma of one time of it (`TimingQuality.sector_variance`).
    """

    number: int
    begin_m: float
    end_m: float
    time_s: float
    sigma_s: float

    def as_row(self) -> dict[str, Any]:
        """Return the sector as JSON; chainages to a centimetre."""
        return {
            "number": self.number,
            "begin_m": round(self.begin_m, 2),
            "end_m": round(self.end_m, 2),
            "time_s": round(self.time_s, 3),
            "sigma_s": round(self.sigma_s, 6),
        }


@dataclass(frozen=True)
class Split:
    """Sector gates suggested for a track.

    Parameters
    ----------
    by
        What is split evenly.
    suggestions
        Places of the gates in racing order, one fewer than there are sectors.
    sectors
        What the times of each sector will be worth with these gates, in racing order.
    timing_basis
        What speeds and the receiver's noise rest on, a sentence.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> split = trackkit.suggest_gates(track, 3)
    >>> split.by, len(split.suggestions), len(split.sectors)
    ('time', 2, 3)
    """

    by: Basis
    suggestions: tuple[Suggestion, ...]
    timing_basis: str
    sectors: tuple[ExpectedSector, ...] = ()

    def __repr__(self) -> str:
        return f"Split(by {self.by}, {counted(self.suggestions, 'suggestion')})"

    def as_row(self) -> dict[str, Any]:
        """Return the split as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "by": self.by,
            "suggestions": [suggestion.as_row() for suggestion in self.suggestions],
            "sectors": [sector.as_row() for sector in self.sectors],
            "timing_basis": self.timing_basis,
        }


def suggest_gates(
    track: Track, sectors: int, by: Basis = "time", *, recordings: Sequence[Recording] = ()
) -> Split:
    """Suggest sector gates that split a lap as asked and whose times are worth most.

    Gates keep clear of braking zones, apexes, other pieces of track and the pit lane, as long as
    there is such a place; see `trackkit.gates.suggest.best_split`.

    Parameters
    ----------
    track
        The track, which has the gates a lap begins and ends at.
    sectors
        How many, 1 or more.
    by
        What is split evenly: ``time``, ``length`` or ``corners``.
    recordings
        Of the track, which tell speeds and the receiver's noise; they are assumed without any.

    Returns
    -------
    Split
        One fewer gates than sectors; `apply_suggestions` places them.

    Raises
    ------
    PlaceError
        When the track is too short for so many sectors, or lacks its timed gates.
    TrackkitError
        When the track has no line that can be followed.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> split = trackkit.suggest_gates(track, 3)
    >>> [round(suggestion.chainage_m, -1) for suggestion in split.suggestions]
    [390.0, 650.0]
    """
    quality = timing_quality(track, recordings)
    suggestions = tuple(best_split(quality, sectors, by))
    return Split(by, suggestions, quality.basis, _expected(quality, suggestions))


def _expected(
    quality: TimingQuality, suggestions: Sequence[Suggestion]
) -> tuple[ExpectedSector, ...]:
    """Work out what times between suggested gates will be worth."""
    track, curve = quality.track, quality.curve
    begin = track.timed_from.chainage_m
    length = curve.length_m if track.closed else track.finish.chainage_m - begin
    ahead = [float(curve.along(begin, suggestion.chainage_m)) for suggestion in suggestions]
    place = begin + np.array([0.0, *ahead, length])
    time = np.diff(quality.passed_s(place))
    sigma = np.sqrt(quality.sector_variance(place[:-1], place[1:]))
    end = np.where(place > curve.length_m, place - curve.length_m, place)
    return tuple(
        ExpectedSector(number, *(float(value) for value in row))
        for number, row in enumerate(
            zip(end[:-1] % curve.length_m, end[1:], time, sigma, strict=True), start=1
        )
    )


def apply_suggestions(track: Track, split: Split) -> tuple[Track, tuple[str, ...]]:
    """Put sector gates where they are suggested, in place of those there are.

    A gate that stays within half a metre of a suggestion is kept as it is, with its id, name and
    ends.

    Parameters
    ----------
    track
        The track.
    split
        What `suggest_gates` suggested for it.

    Returns
    -------
    track, remarks
        The track with a line of history, and what there is to say about its gates, a sentence
        each.

    Raises
    ------
    PlaceError
        When a gate cannot be placed.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> split = trackkit.suggest_gates(track, 4)
    >>> changed, _ = trackkit.apply_suggestions(track, split)
    >>> [gate.name for gate in changed.gates]
    ['Finish', 'Sector 1 end', 'Sector 2 end', 'Sector 3 end']
    """
    changed, remarks = with_suggested_gates(track, split.suggestions)
    remarks = (*remarks, *renamings(track, changed))
    what = f"placed {len(split.suggestions)} suggested sector gates, split by {split.by}"
    return changed.revised_by(what, now()), remarks
