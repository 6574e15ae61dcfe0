"""What is off the line, and how fast cars are on it, by places laid out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from drives import block_circuit, track_of

from trackkit.building.driven_pit_lane import _BIN_M, RACING_SHARE, _clear, _usual_speed
from trackkit.building.pit_lane import OFF_LINE_M
from trackkit.gates.quality import assumed_speed
from trackkit.motion.vehicle import vehicle_for


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), spacing_m=4.0)


def beside(*offset_m):
    return SimpleNamespace(
        where_m=np.linspace(10.0, 500.0, len(offset_m)), offset_m=np.array(offset_m)
    )


def test_without_a_width_off_the_line_is_off_by_some_metres(block):
    just = 0.01
    offsets = (OFF_LINE_M - just, OFF_LINE_M + just, -OFF_LINE_M + just, -OFF_LINE_M - just)

    assert _clear(block, beside(*offsets)).tolist() == [False, True, False, True]


def test_where_the_band_is_known_off_the_line_is_beyond_it_on_either_side(block):
    line = replace(block.centreline, width_profile=((0.0, 12.0, 5.0), (600.0, 12.0, 5.0)))
    track = replace(block, centreline=line)

    assert _clear(track, beside(11.9, 12.1, -4.9, -5.1)).tolist() == [False, True, False, True]
    # A band narrower than what is off the line anyway changes nothing.
    narrow = replace(block, centreline=replace(block.centreline, width_m=2.0))
    just = OFF_LINE_M - 0.01
    assert not _clear(narrow, beside(just, -just)).any()


def driven(track, share, *, begin_m=0.0, end_m=None, off=None):
    """Round the track at a share of what a vehicle could, two samples a bin."""
    chainage = track.curve.chainages(_BIN_M)
    where = np.arange(begin_m, end_m or track.curve.length_m, 0.5 * _BIN_M)
    assumed = assumed_speed(track.curve, chainage, vehicle_for(track))
    speed = share * np.interp(where, chainage, assumed)
    along = SimpleNamespace(where_m=where, offset_m=np.zeros(len(where)))
    off = np.zeros(len(where), dtype=bool) if off is None else off
    return SimpleNamespace(speed_mps=speed), along, off


def usual(track, *drives):
    paths, seen, clear = zip(*drives, strict=True)
    return _usual_speed(track, paths, seen, clear)


def test_the_usual_speed_is_the_median_of_what_was_driven_there(block):
    slow, fast, usual_pace = driven(block, 0.5), driven(block, 0.9), driven(block, 0.8)

    chainage, speed = usual(block, slow, fast, usual_pace)

    assumed = assumed_speed(block.curve, chainage, vehicle_for(block))
    assert chainage == pytest.approx(block.curve.chainages(_BIN_M))
    assert speed == pytest.approx(0.8 * assumed, rel=0.08)


def test_where_nobody_drove_the_pace_of_the_rest_is_taken(block):
    chainage, speed = usual(block, driven(block, 0.7, end_m=900.0))

    assumed = assumed_speed(block.curve, chainage, vehicle_for(block))
    beyond = chainage > 920.0
    assert speed[beyond] == pytest.approx(0.7 * assumed[beyond], rel=0.02)


@pytest.mark.parametrize(("more", "told"), [(0.05, True), (-0.05, False)])
def test_of_drives_that_are_no_race_no_usual_speed_is_told(block, more, told):
    _, speed = usual(block, driven(block, RACING_SHARE + more))

    assert np.isfinite(speed).all() == told
    assert np.isinf(speed).all() != told


def test_what_is_off_the_line_does_not_count(block):
    whole = driven(block, 0.8)
    off = np.ones(len(whole[1].where_m), dtype=bool)

    assert np.isinf(usual(block, driven(block, 0.8, off=off))[1]).all()
    _, with_slow_off = usual(block, whole, driven(block, 0.1, off=off))
    assert with_slow_off == pytest.approx(usual(block, whole)[1])
