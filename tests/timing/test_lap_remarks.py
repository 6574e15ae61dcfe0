"""What is wrong with a lap, on days whose truth is known."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pit_sessions
import pytest
from scipy.interpolate import CubicSpline
from shapely import LineString, Point
from troubled_days import base_run, bent, circuit, recorded

from trackkit.building.build import build_track
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rules import LapRules
from trackkit.track.places import parse_place

NAME = "pipwick-kart-circuit"
START = datetime(2024, 5, 4, 9, 0, tzinfo=UTC)


def timed(events, *, finish_only=False, lost=(), rules=None, rate_hz=10.0, doppler=True, noise=1.0):
    """A session of six laps with troubles at shares of laps: (lap from 1, share, kind)."""
    track = circuit(NAME, finish_only)
    run, finish = base_run(NAME, 1, 6)
    at = [
        (finish[lap - 1] + share * (finish[lap] - finish[lap - 1]), kind)
        for lap, share, kind in events
    ]
    random = np.random.default_rng(7)
    path, laps, _ = bent(track, run, finish, at, random)
    spans = [
        (finish[lap - 1] + share * 50.0, finish[lap - 1] + share * 50.0 + s)
        for lap, share, s in lost
    ]
    recording, _ = recorded(
        track, [(0.0, path)], random, rate_hz, doppler, 0.0, spans, START, noise
    )
    return laps, time_laps(track, recording, rules or LapRules())


def lap_of(report, number):
    return next(lap for lap in report.laps if lap.number == number)


def kinds(lap):
    return [remark.kind for remark in lap.remarks]


def test_a_short_run_off_the_line_is_told_by_how_far_it_truly_went():
    """Over within 4 s, so that samples a second apart see less of it."""
    track = circuit(NAME)
    recording = simulate_drive(track, laps=3, rate_hz=10.0, noise=0.0, seed=1).recording
    lap = lap_of(time_laps(track, recording), 2)
    line = LineString(
        track.plane.to_plane(track.centreline.longitude_deg, track.centreline.latitude_deg)
    )
    position = track.plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    chainage = np.array([line.project(Point(*place)) for place in position])
    driven_then = (recording.time_s > lap.start_s) & (recording.time_s < lap.start_s + lap.time_s)
    away_m = 25.0 * np.exp(-(((chainage - 440.0) / 25.0) ** 2)) * driven_then
    position += away_m[:, None] * track.curve.left(chainage)
    longitude, latitude = track.plane.to_geographic(position)
    gone = Recording.from_arrays(recording.time_s, longitude, latitude, start=START)

    (left,) = [
        remark for remark in lap_of(time_laps(track, gone), 2).remarks if remark.kind == "left"
    ]

    truly_m = max(line.distance(Point(*place)) for place in position[driven_then])
    assert left.aside_m == pytest.approx(truly_m, abs=0.5)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1.0, 25.0])
@pytest.mark.parametrize("doppler", [True, False])
def test_a_lap_with_a_stop_says_where_and_how_long_and_does_not_count(rate_hz, doppler):
    truth, report = timed([(3, 0.5, "stop")], rate_hz=rate_hz, doppler=doppler)

    lap = lap_of(report, 3)
    ((begin, end, _),) = truth[2].troubles
    stood = lap.remarks[0]
    assert kinds(lap) == ["stood", "slow"]
    assert stood.end_s - stood.begin_s == pytest.approx(end - begin, abs=2.0)
    assert stood.text == f"stood {stood.end_s - stood.begin_s:.0f} s at {stood.chainage_m:.0f} m"
    assert lap.time_s == pytest.approx(truth[2].time_s, abs=0.3)
    assert lap.complete
    assert not lap.counts
    assert [lap.number for lap in report.counted] == [1, 2, 4, 5, 6]
    assert report.spread_s < 2.0


def test_with_all_laps_it_counts_and_still_says_so():
    _, report = timed([(3, 0.5, "stop")], rules=LapRules(all_laps=True))

    assert kinds(lap_of(report, 3)) == ["stood", "slow"]
    assert [lap.number for lap in report.counted] == [1, 2, 3, 4, 5, 6]


def test_a_spin_is_told_as_turning_round_and_a_run_off_as_leaving_the_line():
    _, report = timed([(2, 0.4, "roll-back"), (4, 0.4, "aside")])

    assert "turned" in kinds(lap_of(report, 2))
    left = next(remark for remark in lap_of(report, 4).remarks if remark.kind == "left")
    assert 25.0 < left.aside_m < 55.0
    assert left.text == f"left the line by {left.aside_m:.0f} m at {left.chainage_m:.0f} m"
    assert [lap.number for lap in report.counted] == [1, 3, 5, 6]


def test_a_lap_driven_back_over_the_finish_for_a_third_of_it_is_one_that_turned_round():
    """1.6 laps of way without a finish in the racing direction, and yet no finish was missed."""
    track = circuit(NAME)
    run, finish = base_run(NAME, 1, 6)
    random = np.random.default_rng(7)
    path, _, _ = bent(track, run, finish, [], random)
    # How fast time runs along the drive: on, to a halt, back, to a halt, on.
    pace = np.interp(np.arange(0.0, 90.0, 0.1), [20, 26, 29, 62, 65, 71], [1, 0, -0.5, -0.5, 0, 1])
    first = finish[2] - 10.0
    along = first + np.concatenate([[0.0], 0.1 * np.cumsum(pace)])
    along = np.concatenate([np.arange(0.0, first, 0.1), along])
    along = np.concatenate([along, np.arange(along[-1] + 0.1, path.x[-1], 0.1)])
    back = CubicSpline(0.1 * np.arange(len(along)), path(along))
    recording, _ = recorded(track, [(0.0, back)], random, 10.0, True, 0.0, [], START, 1.0)

    report = time_laps(track, recording)

    lap = lap_of(report, 3)
    assert (kinds(lap), lap.missed) == (["turned", "slow"], ())
    later_s = 0.1 * len(along) - path.x[-1]
    assert lap.time_s == pytest.approx(finish[3] - finish[2] + later_s, abs=0.4)
    assert [lap.number for lap in report.counted] == [1, 2, 4, 5, 6]


def test_missing_fixes_are_told_and_the_lap_does_not_count():
    _, report = timed([], lost=[(2, 0.3, 20.0)])

    lap = lap_of(report, 2)
    assert kinds(lap) == ["gap"]
    assert lap.remarks[0].text.startswith("20 s without fixes from ")
    assert not lap.counts


@pytest.mark.slow
def test_slow_is_more_than_107_percent_of_the_best_or_what_is_asked_for():
    _, report = timed([(5, 0.3, "slow")])
    _, wider = timed([(5, 0.3, "slow")], rules=LapRules(within=1.5))

    assert kinds(lap_of(report, 5)) == ["slow"]
    assert lap_of(wider, 5).counts


def test_a_clean_sector_of_a_lap_that_does_not_count_may_be_the_best():
    _, report = timed([(3, 0.9, "stop")], noise=0.0)
    lap = lap_of(report, 3)
    spoilt = {index for remark in lap.remarks for index in remark.sectors}
    assert spoilt
    assert 0 not in spoilt
    quick = [
        lap_.sectors[0].time_s for lap_ in report.laps if lap_.complete and lap_.kind == "flying"
    ]

    index, sector, of_lap = report.best_sectors[0]
    assert index == 0
    assert sector.time_s == min(quick)
    assert all(not s or lap_.counts or lap_.is_clean(s) for s, _, lap_ in report.best_sectors)
    assert of_lap.complete


def test_rolling_back_over_the_line_begins_one_lap():
    truth, report = timed([(2, 1.002, "roll-back")])

    assert [lap.number for lap in report.laps if lap.time_s is not None] == [1, 2, 3, 4, 5, 6]
    assert lap_of(report, 2).time_s == pytest.approx(truth[1].time_s, abs=0.1)
    assert not lap_of(report, 3).counts


def test_a_stop_across_the_line_without_pit_gates_is_told_as_a_stop():
    _, report = timed([(2, 1.0, "stop")], finish_only=True)

    about = [lap.number for lap in report.laps if "stood" in kinds(lap)]
    assert about
    assert set(about) <= {2, 3}


def test_with_a_finish_gate_alone_a_missed_finish_makes_no_lap_of_two():
    _, report = timed([], finish_only=True, lost=[(2, 0.9, 20.0)])

    assert max(lap.time_s for lap in report.laps if lap.time_s is not None) < 60.0
    assert any("finish" in lap.missed for lap in report.laps)
    assert lap_of(report, 2).time_s is None


@pytest.mark.slow
@pytest.mark.parametrize("stop_s", [0.0, 25.0], ids=["through", "with-a-stop"])
def test_laps_through_a_pit_lane_without_gates_are_pit_laps(stop_s):
    """Two visits of a lane that is known; the same recording is built from, and then timed."""
    recording = pit_sessions.session(stop_s=stop_s)
    # Both straights are as long; on this one the finish is crossed by nobody in the lane.
    opposite = parse_place("47.00207,161.00000")
    gated = build_track([recording], "Pits", finish=opposite, pit_gates=True).track
    lane_alone = replace(gated, gates=tuple(gate for gate in gated.gates if "pit" not in gate.kind))
    unknown = replace(lane_alone, pit_lanes=())

    def pits(track):
        return [lap.number for lap in time_laps(track, recording).laps if lap.kind == "pit"]

    assert len(pits(gated)) == 2
    assert pits(lane_alone) == pits(gated)
    assert pits(unknown) == []
    for lap in time_laps(lane_alone, recording).laps:
        assert not (lap.kind == "pit" and lap.counts)
