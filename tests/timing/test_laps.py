"""Crossings told apart into laps: as driven, nothing invented."""

from crossed_gates import ORDER, crossed, laps
from hypothesis import given
from hypothesis import strategies as st

from trackkit.timing.laps import laps_between


def test_nothing_crossed_is_no_lap():
    assert laps() == []


def test_three_gates_make_three_sectors():
    _, lap, _ = laps(("finish", 10), ("one", 25), ("two", 45), ("finish", 60))

    assert (lap.number, lap.kind, lap.complete) == (1, "flying", True)
    assert (lap.start_s, lap.time_s) == (10.0, 50.0)
    assert [s.time_s for s in lap.sectors] == [15.0, 20.0, 15.0]
    assert [s.split_s for s in lap.sectors] == [15.0, 35.0, 50.0]


def test_what_comes_before_the_first_finish_is_the_out_lap_from_the_first_fix():
    out, *_ = laps(("two", 5), ("finish", 10), ("one", 25), ("two", 45), ("finish", 60))

    assert (out.number, out.kind, out.start_s, out.time_s) == (0, "out", 0.0, None)
    assert out.missed == ()


def test_an_out_lap_that_misses_a_gate_after_its_first_says_so():
    out, *_ = laps(("one", 5), ("finish", 30), ("one", 45), ("two", 60), ("finish", 80))

    assert out.missed == ("two",)


def test_what_comes_after_the_last_finish_is_the_in_lap_without_a_time():
    *_, last = laps(("finish", 10), ("one", 25), ("two", 45), ("finish", 60), ("one", 76))

    assert (last.kind, last.number, last.time_s, last.complete) == ("in", 2, None, False)
    assert last.sectors[0].time_s == 16.0
    assert last.missed == ()


def test_a_missed_sector_gate_is_reported_and_its_times_are_not_invented():
    _, lap, _ = laps(("finish", 10), ("two", 45), ("finish", 60))

    assert lap.missed == ("one",)
    assert not lap.complete
    assert lap.time_s == 50.0
    assert [s.time_s for s in lap.sectors] == [None, None, 15.0]
    assert [s.split_s for s in lap.sectors] == [None, 35.0, 50.0]


def test_a_missed_finish_splits_the_lap_and_neither_half_has_a_time():
    found = laps(
        ("finish", 10),
        ("one", 25),
        ("two", 45),
        ("one", 76),
        ("two", 95),
        ("finish", 110),
        ("one", 125),
        ("two", 145),
        ("finish", 160),
    )

    before, after, whole = found[1:4]
    assert (before.time_s, before.complete, before.missed) == (None, False, ("finish",))
    assert (after.time_s, after.start_s, after.complete) == (None, None, False)
    assert after.missed == ("finish",)
    assert (before.sectors[0].time_s, before.sectors[1].time_s) == (15.0, 20.0)
    assert (after.sectors[1].time_s, after.sectors[2].time_s) == (19.0, 15.0)
    assert (whole.time_s, whole.complete) == (50.0, True)
    assert [lap.number for lap in found] == [0, 1, 2, 3, 4]


def test_a_finish_missed_with_every_sector_gate_makes_a_lap_twice_as_long_that_is_not_complete():
    _, lap, _ = laps(("finish", 10), ("one", 25), ("finish", 110))

    assert lap.missed == ("two",)
    assert not lap.complete


def test_a_lap_through_the_pit_lane_is_a_pit_lap():
    found = laps(
        ("finish", 10),
        ("one", 25),
        ("two", 45),
        ("pit", 50),
        ("finish", 80),
        ("one", 95),
        ("two", 115),
        ("finish", 130),
    )

    assert [lap.kind for lap in found] == ["out", "pit", "flying", "in"]


def test_a_stop_in_the_pit_lane_across_the_finish_gate_makes_two_pit_laps():
    # In before the finish line, past it inside the finish gate, out after it.
    found = laps_between(
        crossed(
            ("finish", 10),
            ("one", 25),
            ("two", 45),
            ("pit in", 50),
            ("finish", 60),
            ("pit out", 90),
            ("one", 100),
            ("two", 120),
            ("finish", 135),
            ("one", 150),
            ("two", 170),
            ("finish", 185),
        ),
        ORDER,
        closed=True,
        pit_exits=["pit out"],
    )

    assert [lap.kind for lap in found] == ["out", "pit", "pit", "flying", "in"]
    assert [lap.time_s for lap in found[1:4]] == [50.0, 75.0, 50.0]


def test_a_pit_lane_that_passes_beside_the_finish_gate_misses_it_and_makes_two_pit_laps():
    found = laps_between(
        crossed(
            ("finish", 10),
            ("one", 25),
            ("two", 45),
            ("pit in", 50),
            ("pit out", 90),
            ("one", 100),
            ("two", 120),
            ("finish", 135),
            ("one", 150),
            ("two", 170),
            ("finish", 185),
        ),
        ORDER,
        closed=True,
        pit_exits=["pit out"],
    )

    assert [(lap.kind, lap.time_s) for lap in found[1:4]] == [
        ("pit", None),
        ("pit", None),
        ("flying", 50.0),
    ]
    assert found[1].missed == found[2].missed == ("finish",)


def test_a_pit_exit_that_was_not_seen_marks_no_lap_after_the_one_it_would_have_been_in():
    found = laps_between(
        crossed(
            ("finish", 10),
            ("pit in", 50),
            ("finish", 60),
            ("one", 100),
            ("finish", 135),
            ("one", 150),
            ("finish", 185),
        ),
        ["finish", "one"],
        closed=True,
        pit_exits=["pit out"],
    )

    assert [lap.kind for lap in found] == ["out", "pit", "pit", "flying", "in"]


def test_a_speed_gate_tells_a_speed_and_makes_no_sector_and_no_pit_lap():
    found = laps_between(
        crossed(
            ("finish", 10),
            ("one", 25),
            ("trap", 33),
            ("two", 45),
            ("finish", 60),
            ("one", 75),
            ("two", 95),
            ("finish", 110),
        ),
        ORDER,
        closed=True,
        speed_places={"trap": 1.5},
    )

    assert [lap.kind for lap in found] == ["out", "flying", "flying", "in"]
    assert [[c.time_s for c in lap.speed_gates] for lap in found] == [[], [33.0], [], []]
    assert len(found[1].sectors) == 3
    assert found[2].complete


def test_a_speed_gate_passed_after_a_missed_finish_belongs_to_the_lap_it_was_passed_on():
    found = laps_between(
        crossed(
            ("finish", 10),
            ("trap", 15),
            ("one", 25),
            ("two", 45),
            ("trap", 65),
            ("one", 76),
            ("two", 95),
            ("finish", 110),
        ),
        ORDER,
        closed=True,
        speed_places={"trap": 0.5},
    )

    assert [[c.time_s for c in lap.speed_gates] for lap in found[1:3]] == [[15.0], [65.0]]


def test_without_sector_gates_a_lap_is_one_sector():
    _, lap, _ = laps(("finish", 10), ("finish", 60), order=["finish"])

    assert [s.time_s for s in lap.sectors] == [50.0]
    assert lap.complete


def test_a_point_to_point_course_has_runs_and_nothing_between_them():
    runs = laps(
        ("start", 10),
        ("one", 30),
        ("finish", 60),
        ("start", 200),
        ("one", 219),
        ("finish", 247),
        closed=False,
        order=["start", "one", "finish"],
    )

    assert [run.time_s for run in runs] == [50.0, 47.0]
    assert [run.kind for run in runs] == ["flying", "flying"]
    assert [run.number for run in runs] == [1, 2]
    assert [[s.time_s for s in run.sectors] for run in runs] == [[20.0, 30.0], [19.0, 28.0]]


def test_a_run_that_is_broken_off_has_no_time():
    runs = laps(
        ("start", 10),
        ("one", 30),
        ("start", 200),
        ("one", 219),
        ("finish", 247),
        closed=False,
        order=["start", "one", "finish"],
    )

    assert [run.time_s for run in runs] == [None, 47.0]
    assert not runs[0].complete
    assert runs[0].missed == ("finish",)


@given(st.lists(st.sampled_from([*ORDER, "pit"]), max_size=30))
def test_whatever_is_crossed_no_time_is_invented(gates):
    times = [10.0 + 7.0 * n for n in range(len(gates))]
    found = laps(*zip(gates, times, strict=True))

    known = set(times)
    for lap in found:
        if lap.time_s is not None:
            assert lap.start_s in known
            assert any(abs(lap.start_s + lap.time_s - t) < 1e-9 for t in known)
        if lap.complete:
            assert lap.missed == ()
            assert None not in [s.time_s for s in lap.sectors]
        elif lap.kind == "flying":
            assert lap.missed
    assert sum(lap.time_s is not None for lap in found) <= max(gates.count("finish") - 1, 0)
