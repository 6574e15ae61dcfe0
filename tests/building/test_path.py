"""A drive as a path on the ground: stops are told from the way driven."""

import numpy as np
import pytest
from built_tracks import path_of
from drives import drive, stadium


def test_a_stop_of_60_s_leaves_one_stop_and_no_tangle_in_the_path(whole_outing):
    path = path_of(whole_outing.recording(10, doppler=True))

    on_the_way = [lasting for when, lasting in path.stops if 60.0 < when < path.time_s[-1] - 60.0]
    assert on_the_way == pytest.approx([60.0], abs=1.5)
    on_the_road = path.time_s[:-1] > whole_outing.time_at(whole_outing.joined_m)
    step = np.linalg.norm(np.diff(path.position_m, axis=0), axis=1)[on_the_road]
    assert step == pytest.approx(np.full(len(step), path.step_m), abs=0.15)


def test_a_pause_shorter_than_five_seconds_is_no_stop():
    outing = drive(stadium(), laps=1.2, cruise=12.0, stop_at_m=250.0, stop_s=2.0)

    assert path_of(outing.recording(10, doppler=True)).stops == ()
