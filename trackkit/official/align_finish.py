"""Where the official finish line lies, from recordings and lists of official times."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from trackkit.errors import PlaceError, TrackkitError
from trackkit.gates.placement import with_gate_moved
from trackkit.official.align import WIDEST_M, Alignment, align_line
from trackkit.official.observations import Gathered, fits_sectors, gather
from trackkit.official.times import OfficialTimes
from trackkit.recordings.recording import Recording
from trackkit.timing.lap_times import time_laps
from trackkit.track.derive import renamings
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.track.places import Place


@dataclass(frozen=True, eq=False)
class FinishAlignment:
    """Where the official finish line lies beside a track's finish gate, and from what that is read.

    Parameters
    ----------
    alignment
        Where it lies.
    gathered
        What was used of each recording and its official times.
    sector_gates
        Ids of the track's sector gates, in racing order.
    antenna_ahead_m
        How far the antenna is ahead of what the timekeepers detect, metres, as the caller gave
        it, or None.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=5, seed=1)
    >>> recording, laps = drive.recording, drive.truth["laps"]
    >>> times = pd.DataFrame({"time": [round(lap["time_s"], 3) for lap in laps]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> alignment = trackkit.align_finish(track, [recording], [official])
    >>> alignment.alignment.times, abs(alignment.alignment.ahead_m) < 10.0
    (5, True)
    """

    alignment: Alignment
    gathered: tuple[Gathered, ...]
    sector_gates: tuple[str, ...]
    antenna_ahead_m: float | None

    def __repr__(self) -> str:
        alignment = self.alignment
        return f"FinishAlignment({alignment.ahead_m:.1f} m ahead, sigma {alignment.sigma_m:.1f} m)"

    def as_row(self) -> dict[str, Any]:
        """Return the alignment as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        alignment = self.alignment
        return {
            "ahead_m": alignment.ahead_m,
            "sigma_m": alignment.sigma_m,
            "low_m": alignment.low_m,
            "high_m": alignment.high_m,
            "told": alignment.conclusive,
            "widest_m": WIDEST_M,
            "times": alignment.times,
            "times_needed": alignment.times_needed,
            "left_out": alignment.left_out,
            "scale": alignment.scale,
            "antenna_ahead_m": self.antenna_ahead_m,
            "searched_m": float(self.gathered[0].observed.lines[0].place_m[-1]),
            "sector_lines": [
                {"gate": gate, "ahead_m": ahead}
                for gate, ahead in zip(self.sector_gates, alignment.sector_lines_m, strict=False)
            ],
            "recordings": [
                {
                    "laps": used.laps,
                    "sectors": used.sectors,
                    "times_of_day": used.moments,
                    "unpaired": used.unpaired,
                    "zone_s": used.zone_s,
                    "clock_s": clock,
                }
                for used, clock in zip(self.gathered, alignment.clock_s, strict=True)
            ],
        }


def align_finish(
    track: Track,
    recordings: Sequence[Recording],
    official: Sequence[OfficialTimes],
    *,
    clock_within_s: float | None = None,
    sector_lines_within_m: float | None = None,
    antenna_ahead_m: float | None = None,
    say: Callable[[str], None] | None = None,
) -> FinishAlignment:
    """Find where the official finish line lies, from official times and recordings.

    Lap times alone tell by how laps differ in speed around the line; times of day on the
    receiver's clock tell far more.  See `trackkit.official.align.align_line`.

    Parameters
    ----------
    track
        The track, closed.
    recordings
        Drives of it, one or more.
    official
        Official times of the same driver, from `read_official`: one list for all recordings, or
        one for each, in their order.
    clock_within_s
        One sigma of the difference between the official clock and the receivers', seconds; None
        where it is unknown.
    sector_lines_within_m
        One sigma of the distance between official sector lines and the track's sector gates,
        metres; None where it is unknown.
    antenna_ahead_m
        How far the antenna is ahead of what the timekeepers detect, metres; None is taken for
        none.
    say
        Called with a sentence for each part of the recordings and lists that was not used; None
        to drop them.

    Returns
    -------
    FinishAlignment
        Where the line lies; `apply_alignment` moves the finish gate there.

    Raises
    ------
    PlaceError
        When the track is not closed, or lacks its finish gate.
    TrackkitError
        When recordings and lists are not as many as each other, do not fit, or are too few.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=5, seed=1)
    >>> recording, laps = drive.recording, drive.truth["laps"]
    >>> times = pd.DataFrame({"time": [round(lap["time_s"], 3) for lap in laps]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> alignment = trackkit.align_finish(track, [recording], [official])
    >>> alignment.as_row()["times"]
    5
    """
    require_closed(track)
    if not recordings or len(official) not in (1, len(recordings)):
        raise TrackkitError(
            f"{len(recordings)} recordings and {len(official)} lists of official times do not go "
            "together",
            remedy="give recordings, and one list for all of them or one for each",
        )
    tell = say or _discard
    lists = list(official) * len(recordings) if len(official) == 1 else list(official)
    with_sectors = all(fits_sectors(track, times) for times in lists)
    if not with_sectors and any(lap.sectors_s for times in lists for lap in times.laps):
        count = len(track.gates_of_kind("sector")) + 1
        tell(f"sector times are not used: not every list has {count} sectors, as the track has")
    for text in _together(recordings):
        tell(text)
    gathered = []
    for recording, times in zip(recordings, lists, strict=True):
        for text in times.remarks:
            tell(f"{times.file}: {text}")
        report = time_laps(track, recording)
        try:
            used = gather(
                track, report, times, clock_within_s=clock_within_s, with_sectors=with_sectors
            )
        except TrackkitError as error:
            if len(recordings) == 1:
                raise
            raise TrackkitError(
                f"{error.what} (recording {recording.name})", file=error.file, remedy=error.remedy
            ) from error
        for text in used.remarks:
            tell(f"{times.file}: {text}")
        gathered.append(used)
    alignment = align_line(
        [used.observed for used in gathered],
        clock_within_s=clock_within_s,
        sector_lines_within_m=sector_lines_within_m,
        antenna_ahead_m=antenna_ahead_m or 0.0,
    )
    sectors = tuple(gate.id for gate in track.gates_of_kind("sector"))
    return FinishAlignment(alignment, tuple(gathered), sectors, antenna_ahead_m)


def require_closed(track: Track, file: str | None = None) -> None:
    """Refuse an open course, which has no lap times.

    Raises
    ------
    PlaceError
        When it is not closed.
    """
    if not track.closed:
        raise PlaceError("lap times tell where a line lies only on a closed track", file=file)


def apply_alignment(track: Track, alignment: FinishAlignment) -> tuple[Track, tuple[str, ...]]:
    """Move the finish gate to the official line, where the alignment is conclusive.

    A finish gate that was surveyed stays where the times do not contradict it.

    Parameters
    ----------
    track
        The track.
    alignment
        What `align_finish` made of it.

    Returns
    -------
    track, remarks
        The track with a line of history, or the one that was given where its gate stays; and what
        there is to say about it, a sentence each.

    Raises
    ------
    PlaceError
        When the gate cannot be placed there.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=5, seed=1)
    >>> recording, laps = drive.recording, drive.truth["laps"]
    >>> times = pd.DataFrame({"time": [round(lap["time_s"], 3) for lap in laps]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> alignment = trackkit.align_finish(track, [recording], [official])
    >>> trackkit.apply_alignment(track, alignment)[0].id == track.id
    True
    """
    where, finish = alignment.alignment, track.finish
    if not where.conclusive:
        return track, ()
    if finish.surveyed and where.low_m <= 0.0 <= where.high_m:
        text = "the finish gate was surveyed, and these times do not contradict that: it stays"
        return track, (text,)
    place = Place(chainage_m=float(track.curve.wrap(finish.chainage_m + where.ahead_m)))
    changed, _, remarks = with_gate_moved(track, finish.id, place)
    remarks = (*remarks, *renamings(track, changed))
    what = (
        f"moved the finish gate by {where.ahead_m:.1f} m to the official line, ± "
        f"{where.sigma_m:.1f} m by official times"
    )
    return changed.revised_by(what, now()), remarks


def _discard(text: str) -> None:
    """Drop a sentence that the caller has not asked for."""


def _together(recordings: Sequence[Recording]) -> tuple[str, ...]:
    """Say which recordings are of the same time."""
    spans = sorted(
        (recording.start, recording.time_of_day(recording.duration_s), recording.name)
        for recording in recordings
        if recording.start is not None
    )
    return tuple(
        f"{first[2]} and {second[2]} were recorded at the same time: their errors are taken to be "
        "independent, although receivers beside each other share part of theirs"
        for first, second in pairwise(spans)
        if first[1] is not None and second[0] < first[1]
    )
