"""Lap charts, and two laps compared, on axes that are given."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure
from sample_circuits import track_of

import trackkit
from trackkit.errors import TrackkitError
from trackkit.timing.differences import time_difference
from trackkit.timing.sessions import Session, choose_reference, sector_differences

TRACK = track_of("pipwick-kart-circuit")


@pytest.fixture(scope="module")
def reports():
    drives = [trackkit.simulate_drive(TRACK, laps=4, rate_hz=5.0, seed=seed) for seed in (5, 6)]
    names = ("ada$1.csv", "bo.csv")
    return [
        trackkit.time_laps(TRACK, drive.recording.renamed(name))
        for drive, name in zip(drives, names, strict=True)
    ]


def test_a_lap_chart_shows_each_time_with_its_sigma(reports):
    axes = trackkit.plot_laps(reports, Figure().subplots(), drivers={"bo.csv": "Bo"})

    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert labels == [r"ada\$1.csv", "Bo"]
    points = np.concatenate([line.get_ydata() for line in axes.lines if line.get_marker() in "os"])
    times = [lap.time_s for report in reports for lap in report.laps if lap.time_s is not None]
    assert sorted(points) == pytest.approx(sorted(times))
    assert len(axes.containers) == 2


@pytest.mark.slow
@pytest.mark.parametrize("other", [0, 1])
def test_the_difference_at_a_gate_is_what_the_sectors_add_up_to(reports, other):
    session = Session("own", "own", reports[0])
    second = session if other == 0 else Session("other", "other", reports[1])
    lap, against = reports[0].counted[2], reports[other].counted[0]
    reference = choose_reference([second], f"{against.number}")

    compared = time_difference(TRACK, reports[0], lap, reports[other], against)

    first = sector_differences(session, lap, reference)[0]
    at_m = TRACK.gate(lap.passed[1].gate).chainage_m
    behind = np.interp(at_m, compared.chainage_m, compared.time_s)
    sigma = np.interp(at_m, compared.chainage_m, compared.sigma_s)
    assert behind == pytest.approx(first.time_s, abs=2e-3)
    assert sigma == pytest.approx(first.sigma_s, rel=0.05)


def test_a_lap_is_not_behind_itself(reports):
    lap = reports[0].counted[0]
    compared = time_difference(TRACK, reports[0], lap, reports[0], lap)

    assert np.nanmax(np.abs(compared.time_s)) == 0.0
    assert np.nanmax(compared.sigma_s) == 0.0


@pytest.mark.slow
def test_speeds_and_the_difference_with_its_band_are_drawn_on_the_axes_given(reports):
    pair = Figure().subplots(2, 1)
    drawn = trackkit.plot_difference(reports, "bo.csv:2", "ada$1.csv:3", pair)

    assert drawn == tuple(pair)
    assert len(pair[0].lines) == 2
    assert pair[1].get_ylabel() == r"lap 2 of bo.csv behind lap 3 of ada\$1.csv, s"
    assert len(pair[1].collections) == 1
    pair[1].figure.canvas.draw()

    alone = Figure().subplots()
    assert trackkit.plot_difference(reports[0], "2", axes=alone) == (alone,)


@pytest.mark.slow
def test_the_difference_may_be_drawn_in_mph_and_feet(reports):
    metric, imperial = Figure().subplots(2, 1), Figure().subplots(2, 1)
    trackkit.plot_difference(reports[0], "2", axes=metric)
    trackkit.plot_difference(reports[0], "2", axes=imperial, units="imperial")

    assert (metric[0].get_ylabel(), metric[1].get_xlabel()) == ("Speed, km/h", "Chainage, m")
    assert (imperial[0].get_ylabel(), imperial[1].get_xlabel()) == ("Speed, mph", "Chainage, ft")
    kilometres, miles = (axes[0].lines[0].get_xydata() for axes in (metric, imperial))
    # International yard and pound agreement, 1959: a foot is 0.3048 m and a mile 1609.344 m.
    assert miles * [0.3048, 1.609344] == pytest.approx(kilometres, nan_ok=True)

    with pytest.raises(TrackkitError, match="no units 'nautical'"):
        trackkit.plot_difference(reports[0], "2", axes=imperial, units="nautical")


def test_a_lap_that_is_not_there_is_refused(reports):
    with pytest.raises(TrackkitError, match="has no lap 77"):
        trackkit.plot_difference(reports[0], "77", axes=Figure().subplots())
