"""The pit lane found from laps that leave the line, run slowly beside it and join it again."""

from dataclasses import replace

import numpy as np
import pytest
from drives import drive, on_earth
from pit_sessions import bent, furthest_from_lane, pit_offset, rectangle, session

from trackkit.building.build import build_track
from trackkit.checks.check import check_track
from trackkit.gates.meant import spans_pit_lane
from trackkit.gates.quality import timing_quality
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import laps_csv
from trackkit.track.file import read_track, stored, write_track


@pytest.mark.slow
@pytest.mark.parametrize("stop_s", [0.0, 25.0], ids=["through", "with-a-stop"])
@pytest.mark.parametrize("visits", [(2,), (1, 3, 4)])
def test_the_pit_lane_is_found_where_it_was_driven(visits, stop_s):
    result = build_track([session(visits=visits, stop_s=stop_s)], "Pits")

    (lane,) = result.track.pit_lanes
    assert furthest_from_lane(result.track, lane) < 0.8
    assert any(f"found from {len(visits)} visit" in remark for remark in result.remarks)
    assert any("on the left" in remark for remark in result.remarks)
    assert result.track.gates_of_kind("pit-entry") == ()


@pytest.mark.slow
def test_the_pit_lane_runs_the_way_it_is_driven():
    result = build_track([session()], "Pits")

    (lane,) = result.track.pit_lanes
    line = result.track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    assert line[-1, 0] - line[0, 0] == pytest.approx(400.0, abs=60.0)


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_where_the_pit_lane_is_too_far_to_be_spanned_the_finish_lies_elsewhere():
    track = build_track([session(road=bent(), aside_m=55.0)], "Far").track

    (lane,) = track.pit_lanes
    assert track.finish.width_m < 30.0
    where, _ = track.curve.project(track.plane.to_plane(lane.longitude_deg, lane.latitude_deg))
    assert np.asarray(track.curve.separation(where, 0.0)).min() > 3.0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("visits", "lane"), [((2,), False), ((1, 2, 3, 4), True)], ids=["few", "most"]
)
def test_passages_of_the_pit_lane_count_for_no_gates_speed(visits, lane):
    # Cars pass the finish at 25 m/s and crawl through the pits, 12 m beside it, at 8 m/s.
    built = build_track([session(aside_m=12.0)], "Pits").track
    track = built if lane else replace(built, pit_lanes=())
    quality = timing_quality(track, [session(visits=visits, aside_m=12.0, pit_mps=8.0)])

    assert quality.of_gate(track.finish)["speed_mps"] == pytest.approx(25.0, abs=0.3)


@pytest.mark.slow
def test_no_pit_lane_is_made_of_an_off():
    # 100 m of grass, 6 m beside the line, at a speed that falls and rises again.
    result = build_track([session(visits=(2,), aside_m=6.0, pit_mps=24.0)], "Off", pit_gates=True)

    assert result.track.pit_lanes == ()
    assert any("no pit gates were placed" in remark for remark in result.remarks)


def test_without_visits_there_is_no_pit_lane():
    recording = drive(rectangle(), laps=3.2, cruise=20.0, paddock=True).recording(10, doppler=True)

    assert build_track([recording], "None").track.pit_lanes == ()


@pytest.mark.slow
def test_visits_do_not_pull_the_line():
    result = build_track([session(laps=5, visits=(1, 3))], "Pits")

    place = result.track.plane.to_plane(*on_earth(rectangle().at(np.arange(0, 1500.0, 3.0))[0]))
    assert np.abs(result.track.curve.project(place)[1]).max() < 0.3
    assert not any("layouts" in remark for remark in result.remarks)
