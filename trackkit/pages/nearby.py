"""What of recordings a page may show: a file that is given away holds no way home."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.recordings.recording import Recording
from trackkit.timing.laps import Lap
from trackkit.track.model import Track

NEAR_M = 500.0
"""What was driven farther than this from the centreline stays out of a page: roads to a circuit are
longer, pit lanes, paddocks and run-off areas are nearer (from memory)."""
FAR_M = 1000.0
"""A recording that never comes nearer to the track than this is said to lie elsewhere."""
_TOLD_BY_ONE = 8
_LEFT = f"left the circuit by more than {NEAR_M:.0f} m"
_TIMES = ("begin_s", "end_s")
_OF_ALL_ITS_WAY = ("top_mps", "lowest_mps", "pit_speed_mps")


@dataclass(frozen=True, eq=False)
class Shown:
    """What of a recording is shown.

    Parameters
    ----------
    time_s
        Of the recording's fixes, seconds from the first, shape (n,).
    fixes
        Those shown, shape (n,).
    away_m
        How near the recording comes to the track, or its fixes that were looked at.
    whole
        Whether it was asked that everything be shown.
    """

    time_s: Floats
    fixes: Flags
    away_m: float
    whole: bool

    @property
    def count(self) -> int:
        """How many fixes are shown."""
        return int(np.count_nonzero(self.fixes))

    @property
    def drawn(self) -> bool:
        """Whether the recording is drawn at all."""
        return self.away_m <= FAR_M if self.whole else bool(self.fixes.any())

    @property
    def begin_s(self) -> float:
        """When the first fix shown was recorded, which times on the page count from, seconds."""
        return float(self.time_s[np.argmax(self.fixes)]) if self.count else 0.0

    @property
    def duration_s(self) -> float:
        """How long it was driven where it is shown, seconds."""
        return float(np.diff(self.time_s)[self.fixes[1:] & self.fixes[:-1]].sum())

    def has_all_of(self, begin_s: float | None, end_s: float | None) -> bool:
        """Tell whether all that was driven between two times is shown; None for unknown times."""
        if begin_s is None or end_s is None:
            return True
        first, last = np.searchsorted(self.time_s, [begin_s, np.nextafter(end_s, np.inf)])
        return bool(self.fixes[first:last].all())

    def shows_all_of(self, lap: Lap) -> bool:
        """Tell whether a lap that has a time is shown from its beginning to its end."""
        if lap.start_s is None or lap.time_s is None:
            return True
        return self.has_all_of(lap.start_s, lap.start_s + lap.time_s)

    def of_lap(self, row: Mapping[str, Any], lap: Lap) -> dict[str, Any]:
        """Leave out of the row of a lap what was driven where it is not shown.

        Parameters
        ----------
        row
            From `Lap.as_row`, or some of it.
        lap
            The lap.

        Returns
        -------
        dict
            The same members; times within the recording count from the first fix shown.
        """
        kept = dict(row)
        if self.shows_all_of(lap):
            remarks = [remark.as_row() for remark in lap.remarks]
        else:
            hidden = {key: None for key in _OF_ALL_ITS_WAY if key in row}
            kept |= hidden
            if "sectors" in row:
                kept["sectors"] = [
                    sector | {key: None for key in _OF_ALL_ITS_WAY if key in sector}
                    for sector in row["sectors"]
                ]
            remarks = [
                remark.as_row()
                for remark in lap.remarks
                if remark.kind not in ("short", "turned")
                and self.has_all_of(remark.begin_s, remark.end_s)
            ]
            left = next((remark for remark in lap.remarks if remark.kind == "left"), None)
            if left is not None:
                said = replace(left, text=_LEFT, begin_s=None, end_s=None, aside_m=None)
                remarks.append(said.as_row())
        if "remarks" in row:
            kept["remarks"] = [
                remark | {key: self._since(remark[key]) for key in _TIMES} for remark in remarks
            ]
        kept["start_s"] = self._since(row["start_s"])
        return kept

    def of_best(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """Count times in a row of best times from the first fix shown.

        Parameters
        ----------
        row
            From `trackkit.timing.report.LapReport.as_row`.
        """
        run = row["continuous_best_from"]
        since = None if run is None else run | {"at_s": self._since(run["at_s"])}
        return {**row, "continuous_best_from": since}

    def _since(self, time_s: float | None) -> float | None:
        return None if time_s is None else max(time_s - self.begin_s, 0.0)


def shown_of(track: Track, recording: Recording, *, everything: bool) -> Shown:
    """Tell what of a recording a page of a track shows.

    Parameters
    ----------
    track
        The track.
    recording
        The recording.
    everything
        Whether that is everything, wherever it was driven.
    """
    position = track.plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    near, nearest = _near(track, position)
    if nearest > FAR_M:
        # Far from its middle a plane says little of distances.
        nearest = _far_m(recording, track)
    fixes = np.full(len(near), fill_value=True) if everything else near
    return Shown(recording.time_s, fixes, nearest, everything)


def _near(track: Track, position_m: Floats) -> tuple[Flags, float]:
    """Tell which positions are near the line, and how near those that were looked at come to it.

    Some fixes tell of those after them, which are as far from the line but for the way there.
    """
    some = np.arange(len(position_m)) // _TOLD_BY_ONE
    on_way = np.linalg.norm(position_m - position_m[some * _TOLD_BY_ONE], axis=1)
    away = track.curve.distance(position_m[::_TOLD_BY_ONE])[some]
    unsure = np.abs(away - NEAR_M) <= on_way
    if away.min() > FAR_M:
        unsure |= away - on_way <= FAR_M
    away[unsure] = track.curve.distance(position_m[unsure])
    return away <= NEAR_M, float(away.min())


def left_out(recordings: Sequence[Recording], shown: Sequence[Shown], names: Sequence[str]) -> str:
    """Say how much of recordings is left out of a page.

    Parameters
    ----------
    recordings, shown, names
        The recordings, what of them is shown, and what people call them.

    Returns
    -------
    str
        A sentence, lengths in metres; empty where all is shown.
    """
    cut = [part for part in zip(names, recordings, shown, strict=True) if not part[2].fixes.all()]
    if not cut:
        return ""
    fixes = sum(len(recording) - part.count for _, recording, part in cut)
    spent_s = sum(recording.duration_s - part.duration_s for _, recording, part in cut)
    minutes, seconds = divmod(round(spent_s), 60)
    return (
        f"left out of the page: {fixes:,} fix{'' if fixes == 1 else 'es'} ({minutes} min "
        f"{seconds:02d} s) of {', '.join(name for name, _, _ in cut)}, driven more than "
        f"{NEAR_M:.0f} m from the circuit"
    )


def _far_m(recording: Recording, track: Track) -> float:
    """Say how near a recording comes to the track: from fix to vertex, not from all of them."""
    line = track.centreline
    fix = np.linspace(0, len(recording) - 1, 200).astype(int)
    vertex = np.linspace(0, len(line.longitude_deg) - 1, 200).astype(int)
    apart = geodesic_distance(
        recording.longitude_deg[fix][:, None],
        recording.latitude_deg[fix][:, None],
        line.longitude_deg[vertex][None, :],
        line.latitude_deg[vertex][None, :],
    )
    return float(apart.min())
