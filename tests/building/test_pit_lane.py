"""The pit lane found from laps that leave the line, run slowly beside it and join it again."""

from dataclasses import replace

import numpy as np
import pytest
from drives import Road, arc, drive, on_earth, straight, straights_joined
from scipy.interpolate import CubicSpline

from trackkit.building.build import build_track
from trackkit.checks.check import check_track
from trackkit.gates.meant import spans_pit_lane
from trackkit.gates.quality import timing_quality
from trackkit.recordings.recording import Recording
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import laps_csv
from trackkit.track.file import read_track, stored, write_track

ASIDE_M = 18.0


def rectangle():
    return Road(straights_joined(arc(40, 90), (250, 150, 500, 150, 250)))


def pit_offset(along_m, aside_m=ASIDE_M):
    """How far left of the road the pit lane is, -200 to 200 m from the middle of the straight."""
    shape = CubicSpline(
        [-200, -150, -120, 0, 120, 150, 200],
        [0, 0.8 * aside_m, aside_m, aside_m, aside_m, 0.8 * aside_m, 0],
        bc_type="clamped",
    )
    return shape(np.clip(along_m, -200.0, 200.0))


def bent():
    """The rectangle with a chicane in the straight that has no pit lane: 4 * 100 m * sin 20."""
    bend, reach = arc(40, 90), 250.0 - 200.0 * np.sin(np.radians(20.0))
    chicane = (straight(reach), arc(100, 20), arc(-100, 40), arc(100, 20), straight(reach))
    begin, side, end = straight(250), straight(150), straight(250)
    return Road((begin, bend, side, bend, *chicane, bend, side, bend, end))


def session(
    *, road=None, laps=6, visits=(2, 4), aside_m=ASIDE_M, pit_mps=16.0, stop_s=0.0, noise_m=0.0
):
    """Exact laps at 25 m/s; on some the straight is left for the pit lane, with a stop in it."""
    road = road or rectangle()
    way = np.arange(300.0, 300.0 + (laps + 0.4) * road.length_m, 1.0)
    lap, along = np.divmod(way + 250.0, road.length_m)
    along -= 250.0
    in_pits = np.isin(lap, visits) & (np.abs(along) < 200.0)
    position, ahead = road.at(way)
    aside = np.where(in_pits, pit_offset(along, aside_m), 0.0)
    position = position + aside[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    step = 1.0 / np.where(in_pits, pit_mps, 25.0)
    if stop_s:
        step[in_pits & (np.abs(along - 20.0) < 0.5)] += stop_s
    time = np.cumsum(step)
    fine = np.arange(time[0], time[-1], 0.1)
    position = np.column_stack([np.interp(fine, time, column) for column in position.T])
    position = position + np.random.default_rng(7).normal(0.0, noise_m, position.shape)
    return Recording("session", fine - fine[0], *on_earth(position))


def furthest_from_lane(track, lane):
    """How far the middle 300 m of the true pit lane is from the lane that was found, at most."""
    along = np.arange(-150.0, 150.0, 2.0)
    position, ahead = rectangle().at(along)
    true = position + pit_offset(along)[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    place = track.plane.to_plane(*on_earth(true))
    line = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    from trackkit.geometry.curve import Curve

    return float(np.abs(Curve.through(line, closed=False).project(place)[1]).max())


@pytest.mark.parametrize("stop_s", [0.0, 25.0], ids=["through", "with-a-stop"])
@pytest.mark.parametrize("visits", [(2,), (1, 3, 4)])
def test_the_pit_lane_is_found_where_it_was_driven(visits, stop_s):
    result = build_track([session(visits=visits, stop_s=stop_s)], "Pits")

    (lane,) = result.track.pit_lanes
    assert furthest_from_lane(result.track, lane) < 0.8
    assert any(f"found from {len(visits)} visit" in remark for remark in result.remarks)
    assert any("on the left" in remark for remark in result.remarks)
    assert result.track.gates_of_kind("pit-entry") == ()


def test_the_pit_lane_runs_the_way_it_is_driven():
    result = build_track([session()], "Pits")

    (lane,) = result.track.pit_lanes
    line = result.track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    assert line[-1, 0] - line[0, 0] == pytest.approx(400.0, abs=60.0)


def test_pit_gates_on_request_are_crossed_by_the_visits_alone(tmp_path):
    recording = session(stop_s=25.0)

    result = build_track([recording], "Pits", pit_gates=True)

    write_track(result.track, tmp_path / "pits.geojson")
    track = read_track(tmp_path / "pits.geojson")
    assert [g.kind for g in track.gates if "pit" in g.kind] in (
        ["pit-entry", "pit-exit"],
        ["pit-exit", "pit-entry"],
    )
    assert not any(g.surveyed for g in track.gates)
    assert [f for f in check_track(stored(track)) if f.severity == "error"] == []
    laps = time_laps(track, recording).laps
    assert len(track.pit_lanes) == 1
    visits = [lap for lap in laps if lap.pit_visits]
    assert len(visits) == 2
    # Through the pits at 16 m/s, with a stop of 25 s; the gates are where the lane is clear.
    (entry,), (leave,) = track.gates_of_kind("pit-entry"), track.gates_of_kind("pit-exit")
    way = float(track.curve.along(entry.chainage_m, leave.chainage_m))
    for lap in visits:
        assert lap.kind == "pit"
        assert lap.pit_time_s == pytest.approx(way / 16.0 + 25.0, abs=0.6)
    # A stop from one moment to the next is smoothed over; without it the speed is plain.
    through = [lap for lap in time_laps(track, session()).laps if lap.pit_visits]
    along = np.arange(-200.0, 200.0)
    # 16 m/s along the straight, and more where the lane runs aslant, between the gates 8 m off.
    aslant = np.abs(np.gradient(pit_offset(along)))[pit_offset(along) >= 8.0].max()
    fastest = 16.0 * np.hypot(1.0, aslant)
    assert [lap.pit_speed_mps for lap in through] == pytest.approx([fastest, fastest], abs=0.2)
    assert "pit_speed_mps" in laps_csv(track, [], None, None)


def test_a_finish_gate_that_is_chosen_spans_the_pit_lane_and_laps_into_it_are_timed():
    recording = session(road=bent())

    result = build_track([recording], "Pits", pit_gates=True)

    track = result.track
    assert spans_pit_lane(track, track.finish)
    assert not track.finish.surveyed
    assert len(track.curve.crossed_by(*track.gate_ends(track.finish))) == 1
    assert [f.rule for f in check_track(stored(track)) if f.rule == "pit-bypass"] == []
    laps = time_laps(track, recording).laps
    # Five passages of the straight, two of them through the pits.
    assert sum(lap.time_s is not None for lap in laps) == 5


def test_where_the_pit_lane_is_too_far_to_be_spanned_the_finish_lies_elsewhere():
    track = build_track([session(road=bent(), aside_m=55.0)], "Far").track

    (lane,) = track.pit_lanes
    assert track.finish.width_m < 30.0
    where, _ = track.curve.project(track.plane.to_plane(lane.longitude_deg, lane.latitude_deg))
    assert np.asarray(track.curve.separation(where, 0.0)).min() > 3.0


@pytest.mark.parametrize(
    ("visits", "lane"), [((2,), False), ((1, 2, 3, 4), True)], ids=["few", "most"]
)
def test_passages_of_the_pit_lane_count_for_no_gates_speed(visits, lane):
    # Cars pass the finish at 25 m/s and crawl through the pits, 12 m beside it, at 8 m/s.
    built = build_track([session(aside_m=12.0)], "Pits").track
    track = built if lane else replace(built, pit_lanes=())
    quality = timing_quality(track, [session(visits=visits, aside_m=12.0, pit_mps=8.0)])

    assert quality.of_gate(track.finish)["speed_mps"] == pytest.approx(25.0, abs=0.3)


def test_no_pit_lane_is_made_of_an_off():
    # 100 m of grass, 6 m beside the line, at a speed that falls and rises again.
    result = build_track([session(visits=(2,), aside_m=6.0, pit_mps=24.0)], "Off", pit_gates=True)

    assert result.track.pit_lanes == ()
    assert any("no pit gates were placed" in remark for remark in result.remarks)


def test_without_visits_there_is_no_pit_lane():
    recording = drive(rectangle(), laps=3.2, cruise=20.0, paddock=True).recording(10, doppler=True)

    assert build_track([recording], "None").track.pit_lanes == ()


def test_visits_do_not_pull_the_line():
    result = build_track([session(laps=5, visits=(1, 3))], "Pits")

    place = result.track.plane.to_plane(*on_earth(rectangle().at(np.arange(0, 1500.0, 3.0))[0]))
    assert np.abs(result.track.curve.project(place)[1]).max() < 0.3
    assert not any("layouts" in remark for remark in result.remarks)
