"""A lap chart, and two laps compared, on axes of matplotlib's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from trackkit.errors import TrackkitError
from trackkit.frames.laps import laps_frame
from trackkit.paper.ink import BAND, INK, RULE, SOFT
from trackkit.timing.differences import time_difference
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import Reference, Session, choose_reference, lap_name
from trackkit.timing.traces import trace_lap
from trackkit.units import UNITS, UnitsName

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Okabe and Ito's palette (Color Universal Design, 2008; from memory), each with a mark of its own.
SERIES = (
    ("#0072b2", "o"),
    ("#d55e00", "s"),
    ("#009e73", "^"),
    ("#cc79a7", "D"),
    ("#e69f00", "v"),
    ("#56b4e9", "P"),
    ("#1d2023", "X"),
)


def plot_laps(
    reports: LapReport | Iterable[LapReport],
    axes: Axes | None = None,
    *,
    drivers: Mapping[str, str] | None = None,
) -> Axes:
    """Draw a lap chart: the time of each lap, with one sigma, in the order driven.

    Parameters
    ----------
    reports
        From `time_laps` or `time_many`.
    axes
        What to draw on; pyplot's own when None.
    drivers
        Who drove, by the recordings' names or the names of their files; else the recordings are
        named.

    Returns
    -------
    Axes
        Laps that do not count are hollow.

    Raises
    ------
    TrackkitError
        When a report was made by hand, without a track, or no lap has a time.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.plot_laps([])
    Traceback (most recent call last):
        ...
    trackkit.errors.TrackkitError: no lap has a time to draw; time recordings of whole laps
    """
    from matplotlib.ticker import MaxNLocator

    laps = laps_frame(reports, drivers=drivers)
    laps = laps[laps["time_s"].notna()]
    if laps.empty:
        raise TrackkitError("no lap has a time to draw", remedy="time recordings of whole laps")
    axes = _own(axes)
    for number, (name, of_one) in enumerate(laps.groupby("recording", observed=True, sort=False)):
        colour, mark = SERIES[number % len(SERIES)]
        place = np.arange(1, len(of_one) + 1)
        driver = of_one["driver"].iloc[0]
        label = str(driver) if isinstance(driver, str) else str(name)
        axes.errorbar(
            place,
            of_one["time_s"],
            yerr=of_one["sigma_s"],
            color=colour,
            linewidth=1.0,
            capsize=3,
            label=_plain(label),
        )
        for counts, fill in ((True, colour), (False, "#ffffff")):
            some = (of_one["counts"] == counts).to_numpy()
            axes.plot(place[some], of_one["time_s"][some], mark, color=colour, markerfacecolor=fill)
    _framed(axes, "Lap, in the order driven (hollow: does not count)", "Lap time, s")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.legend(frameon=False)
    return axes


def plot_difference(
    reports: LapReport | Iterable[LapReport],
    lap: str,
    against: str | None = None,
    axes: Axes | Sequence[Axes] | None = None,
    *,
    units: UnitsName = "metric",
) -> tuple[Axes, ...]:
    """Draw by how much one lap is behind another along the track, with a band of one sigma.

    Parameters
    ----------
    reports
        From `time_laps`, with their drives, of one track.
    lap
        Which lap: ``3``, ``2.3`` for lap 3 of session 2, or either after ``RECORDING:``.
    against
        Which lap it is compared with; the fastest that counts when None.
    axes
        One for the difference, or two, for speeds and the difference; pyplot's own figure with two
        when None.
    units
        "metric" for km/h and metres, "imperial" for mph and feet.

    Returns
    -------
    tuple of Axes
        Those that were drawn on, against chainage.

    Raises
    ------
    TrackkitError
        When there is no such lap with a time, the laps are of several tracks, a report's drive was
        not kept, or there are no such units.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.plot_difference([], "3")
    Traceback (most recent call last):
        ...
    trackkit.errors.TrackkitError: there is no report to draw laps of; time a recording first
    """
    shown = UNITS.get(units)
    if shown is None:
        raise TrackkitError(f"there are no units {units!r}", remedy="give 'metric' or 'imperial'")
    listed = [reports] if isinstance(reports, LapReport) else list(reports)
    if not listed:
        raise TrackkitError("there is no report to draw laps of", remedy="time a recording first")
    tracks = {report.timed_track.id: report.timed_track for report in listed}
    if len(tracks) > 1:
        raise TrackkitError(
            "laps of several tracks cannot be compared", remedy="give reports of one track"
        )
    (track,) = tracks.values()
    sessions = [Session(report.name, report.name, report) for report in listed]
    own, other = choose_reference(sessions, lap), choose_reference(sessions, against)
    if own is None or other is None:
        raise TrackkitError("no lap counts that could be compared with", remedy="name one")
    compared = time_difference(track, own.session.report, own.lap, other.session.report, other.lap)
    if axes is None:
        from matplotlib import pyplot as plt

        drawn = tuple(plt.figure().subplots(2, 1, sharex=True))
    else:
        drawn = tuple(axes) if isinstance(axes, Sequence | np.ndarray) else (axes,)
    chainage = shown.length_per_m * compared.chainage_m
    names = [_plain(_called(reference, len(listed) > 1)) for reference in (own, other)]
    if len(drawn) > 1:
        traces = [trace_lap(track, each.session.report.drive, each.lap) for each in (own, other)]
        for name, trace, (colour, _), dash in zip(
            names, traces, SERIES, ("solid", "dashed"), strict=False
        ):
            if trace is not None:
                along = shown.length_per_m * trace.chainage_m
                speed = shown.speed_per_mps * trace.speed_mps
                drawn[0].plot(along, speed, color=colour, linestyle=dash, label=name)
        _framed(drawn[0], "", f"Speed, {shown.speed}")
        drawn[0].legend(frameon=False)
    last = drawn[-1]
    low, high = (compared.time_s + sign * compared.sigma_s for sign in (-1.0, 1.0))
    last.fill_between(chainage, low, high, color=BAND, label="one sigma")
    last.plot(chainage, compared.time_s, color=SERIES[0][0])
    last.axhline(0.0, color=SOFT, linewidth=0.8)
    _framed(last, f"Chainage, {shown.length}", f"{names[0]} behind {names[1]}, s")
    last.legend(frameon=False)
    return drawn


def _own(axes: Axes | None) -> Axes:
    if axes is not None:
        return axes
    from matplotlib import pyplot as plt

    return plt.gca()


def _called(reference: Reference, several: bool) -> str:
    report = reference.session.report
    name = f"lap {lap_name(report, reference.lap)}"
    return f"{name} of {report.name}" if several else name


def _plain(text: str) -> str:
    """Keep dollar signs from being read as mathematics, and a first underscore as no label."""
    return text.replace("$", r"\$").removeprefix("_")


def _framed(axes: Axes, along: str, up: str) -> None:
    axes.set_xlabel(along, color=INK)
    axes.set_ylabel(up, color=INK)
    axes.grid(color=RULE, linewidth=0.4)
    axes.spines[["top", "right"]].set_visible(False)
