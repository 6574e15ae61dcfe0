"""One line through laps that lie beside each other."""

from dataclasses import replace

import numpy as np
from drives import drive, stadium

from trackkit.building.fit import fit_line
from trackkit.building.layouts import all_laps
from trackkit.building.path import path_driven
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.drive import smooth


def test_laps_shifted_as_a_whole_meet_half_way_and_show_no_spread():
    # The same lap recorded twice, once 2 m farther north: a receiver's wander between two days.
    recording = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0).recording(10, doppler=True)
    north = replace(recording, latitude_deg=recording.latitude_deg + 2.0 / 111_195.0)
    plane = LocalPlane(161.0, 47.0)
    laps = [
        lap
        for each in (recording, north)
        for lap in all_laps(path_driven(smooth(each, plane)), "x")
    ]

    line = fit_line(laps, closed=True)

    assert len(line.laps) == 2
    assert line.spread_m.max() < 0.1
    _, offset = line.curve.project(stadium().at(np.arange(0.0, 400.0, 4.0))[0] + [0.0, 1.0])
    assert np.abs(offset).max() < 0.1
