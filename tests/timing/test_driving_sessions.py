"""Sessions: where a recording is parted, and why."""

import numpy as np
import pytest

from trackkit.errors import TrackkitError
from trackkit.timing.driving_sessions import (
    DrivingSession,
    driving_sessions,
    span_text,
    standing_spells,
)
from trackkit.timing.rules import LapRules


def parted(time_s, x_m, **limits):
    position = np.column_stack([x_m, np.zeros(len(x_m))])
    speed = np.abs(np.gradient(x_m, time_s))
    spells = standing_spells(time_s, position, speed)
    return driving_sessions(time_s, position, spells, **limits)


def a_stop(stand_s, rate_hz=10.0):
    """A minute at 20 m/s, a stand, another minute."""
    time = np.arange(0.0, 120.0 + stand_s, 1.0 / rate_hz)
    return time, np.interp(
        time, [0.0, 60.0, 60.0 + stand_s, 120.0 + stand_s], [0, 1200, 1200, 2400]
    )


@pytest.mark.parametrize("rate_hz", [1.0, 10.0, 25.0])
@pytest.mark.parametrize(("stand_s", "count"), [(170.0, 1), (190.0, 2)])
def test_standing_for_three_minutes_parts_sessions(stand_s, count, rate_hz):
    sessions = parted(*a_stop(stand_s, rate_hz))

    assert [session.number for session in sessions] == list(range(1, count + 1))
    if count == 2:
        first, second = sessions
        assert first.ending == "stood"
        assert first.end_s == pytest.approx(60.0, abs=1.5)
        assert first.for_s == pytest.approx(stand_s, abs=2.5)
        assert second.begin_s == pytest.approx(60.0 + stand_s, abs=1.5)
        assert "ended because the vehicle stood for 3 min" in first.sentence
    assert sessions[-1].sentence == "ended with the recording"


@pytest.mark.parametrize(("gap_s", "count"), [(50.0, 1), (70.0, 2)])
def test_a_minute_without_fixes_parts_sessions(gap_s, count):
    time = np.concatenate([np.arange(0.0, 60.0, 0.1), 60.0 + gap_s + np.arange(0.0, 60.0, 0.1)])

    sessions = parted(time, 20.0 * time)

    assert len(sessions) == count
    if count == 2:
        assert sessions[0].ending == "gap"
        assert sessions[0].sentence == "ended because there were no fixes for 70 s"


def test_what_parts_sessions_can_be_set():
    assert len(parted(*a_stop(100.0), stand_s=90.0)) == 2
    assert len(parted(*a_stop(190.0), stand_s=300.0)) == 1
    time = np.concatenate([np.arange(0.0, 60.0, 0.1), 80.0 + np.arange(0.0, 60.0, 0.1)])
    assert len(parted(time, 20.0 * time, gap_s=15.0)) == 2


def test_pushing_about_between_two_stands_is_no_session():
    time = np.arange(0.0, 820.0, 0.1)
    x = np.interp(time, [0, 60, 360, 370, 700, 760, 820], [0, 1200, 1200, 1220, 1220, 2420, 3620])

    first, second = parted(time, x)

    assert (first.end_s, second.begin_s) == pytest.approx((60.0, 700.0), abs=2.0)


def test_a_stand_with_a_receiver_that_jitters_is_one_stand():
    random = np.random.default_rng(1)
    time = np.arange(0.0, 400.0, 0.2)
    jitter = np.cumsum(0.03 * random.normal(size=(len(time), 2)), axis=0)
    jitter -= np.linspace(0, 1, len(time))[:, None] * jitter[-1]

    spells = standing_spells(time, jitter, np.full(len(time), 0.4))

    assert spells == pytest.approx(np.array([[0.0, 399.8]]))


def test_a_recording_that_never_moves_is_one_session():
    time = np.arange(0.0, 400.0, 1.0)

    assert len(parted(time, np.zeros(len(time)))) == 1


@pytest.mark.parametrize(
    ("span_s", "words"), [(48.0, "48 s"), (720.0, "12 min"), (11100.0, "3 h 5 min")]
)
def test_lengths_of_time_are_said_in_words_that_suit_them(span_s, words):
    assert span_text(span_s) == words


@pytest.mark.parametrize("wrong", [{"session_stand_s": 0}, {"session_gap_s": -1}, {"within": 1.0}])
def test_rules_that_make_no_sense_are_refused(wrong):
    with pytest.raises(TrackkitError, match=r"more than 0 s|within"):
        LapRules(**wrong)


def test_a_stand_that_goes_on_without_fixes_tells_both():
    """200 s standing, 180 s without fixes in the same place, 20 s standing, and on."""
    time = np.concatenate([np.arange(0.0, 260.0, 0.1), np.arange(440.0, 520.0, 0.1)])

    first, _ = parted(time, np.interp(time, [0, 60, 460, 520], [0, 1200, 1200, 2400]))

    assert first.ending == "gap"
    assert first.for_s == pytest.approx(400.0, abs=3.0)
    assert first.without_s == pytest.approx(180.0, abs=0.2)
    assert first.sentence == (
        "ended because the vehicle stood for 4 min and there were no fixes for 3 min"
    )


@pytest.mark.parametrize(
    ("session", "why"),
    [
        (DrivingSession(1, 0.0, 9.0, "stood", 200.0), "because the vehicle stood for 3 min"),
        (DrivingSession(1, 0.0, 9.0, "gap", 90.0, 90.0), "because there were no fixes for 90 s"),
        (DrivingSession(1, 0.0, 9.0, "gap", 95.0, 90.0), "because there were no fixes for 90 s"),
        (
            DrivingSession(1, 0.0, 9.0, "stood", 300.0, 90.0),
            "because the vehicle stood for 4 min and there were no fixes for 90 s",
        ),
        (DrivingSession(1, 0.0, 9.0, "recording"), "with the recording"),
        (DrivingSession(1, 0.0, 9.0, "stood"), "with the recording"),
    ],
)
def test_why_a_session_ended_is_told_by_what_was_seen(session, why):
    assert session.sentence == f"ended {why}"
