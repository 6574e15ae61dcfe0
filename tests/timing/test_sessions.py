"""Laps of one or several recordings side by side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import two_sessions

from trackkit.errors import TrackkitError
from trackkit.timing.decimals import decimals
from trackkit.timing.sessions import (
    choose_reference,
    lap_difference,
    passages,
    ranking,
    rfc3339,
    sector_differences,
    time_zone,
)


@pytest.fixture(scope="module")
def block():
    return two_sessions.block()


@pytest.fixture(scope="module")
def sessions():
    return two_sessions.sessions()


# Decimals


def test_a_lap_ends_at_the_gate_that_it_begins_at_and_speed_gates_come_last(block, sessions):
    (lap,) = [lap for lap in sessions[0].report.laps if lap.number == 2]
    speed = block.gates_of_kind("speed")[0].id

    listed = passages(block, lap)

    assert [gate for gate, _ in listed] == ["finish", "one", "two", "finish", speed]
    assert all(crossing.gate == gate for gate, crossing in listed)
    times = [crossing.time_s for _, crossing in listed]
    assert times[3] - times[0] == pytest.approx(lap.time_s, abs=1e-9)
    assert times[2] < times[4] < times[3]


@pytest.mark.parametrize(
    ("sigma", "places"),
    [
        (0.0004, 3),
        (0.004, 3),
        (0.0123, 3),
        (0.0949, 3),
        (0.0994, 3),
        (0.0996, 2),
        (0.13, 2),
        (0.99, 2),
        (1.3, 1),
        (14.0, 0),
        (400.0, 0),
        (None, 3),
        (0.0, 3),
    ],
)
def test_the_last_decimal_is_no_finer_than_the_second_digit_of_the_uncertainty(sigma, places):
    # At most two significant digits of an uncertainty (JCGM 100, 7.2.6; from memory); timekeepers
    # give thousandths (common practice, no source).
    assert decimals(sigma) == places


# Differences, reference, ranking


def test_the_reference_is_the_best_lap_of_all_unless_one_is_named(sessions):
    best = min((lap.time_s, s.label) for s in sessions for lap in s.report.counted)

    chosen = choose_reference(sessions)

    assert (chosen.lap.time_s, chosen.session.label) == best


@pytest.mark.parametrize("wanted", ["anna:2", "anna.csv:2"])
def test_a_reference_is_named_by_file_or_label(sessions, wanted):
    chosen = choose_reference(sessions, wanted)

    assert (chosen.session.label, chosen.lap.number) == ("anna", 2)


def test_with_one_recording_a_lap_number_is_enough(sessions):
    assert choose_reference(sessions[:1], "3").lap.number == 3


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ("2", "lap 2 of which recording"),
        ("carl:2", "'carl' is not among"),
        ("anna:0", "has no lap 0 with a time"),
        ("anna:99", "laps with a time are 1, 2, 3"),
        ("anna", "has no lap number"),
    ],
)
def test_a_reference_that_is_not_clear_is_asked_about(sessions, wanted, says):
    with pytest.raises(TrackkitError, match=says):
        choose_reference(sessions, wanted)


def test_sector_differences_add_up_to_the_laps(sessions):
    reference = choose_reference(sessions, "anna:1")

    for session in sessions:
        for lap in session.report.counted:
            whole = lap_difference(session, lap, reference)
            parts = sector_differences(session, lap, reference)
            assert whole.time_s == pytest.approx(lap.time_s - reference.lap.time_s, abs=1e-9)
            assert sum(part.time_s for part in parts) == pytest.approx(whole.time_s, abs=1e-9)


def test_a_lap_differs_from_itself_by_nothing_for_sure(sessions):
    reference = choose_reference(sessions, "anna:1")

    own = lap_difference(reference.session, reference.lap, reference)

    assert (own.time_s, own.sigma_s) == (0.0, 0.0)


def test_laps_of_two_recordings_are_independent(sessions):
    # Uncorrelated quantities: variances add (JCGM 100, 5.1.2; from memory).
    reference = choose_reference(sessions, "anna:1")
    other = sessions[1].report.counted[0]

    difference = lap_difference(sessions[1], other, reference)

    assert difference.sigma_s == pytest.approx(np.hypot(other.sigma_s, reference.lap.sigma_s))


def test_the_laps_of_all_recordings_are_one_ranking(sessions):
    ranked = ranking(sessions)

    times = [one.lap.time_s for one in ranked]
    assert times == sorted(times)
    assert len(times) == 6
    assert {one.session.label for one in ranked} == {"anna", "bert"}


# Times of day


def test_a_zone_that_is_not_known_is_said(block):
    with pytest.raises(TrackkitError, match="time zone 'Nowhere/Invented' of the track"):
        time_zone(replace(block, timezone="Nowhere/Invented"))


def test_no_zone_is_no_fault(block):
    assert time_zone(replace(block, timezone=None)) is None
    assert rfc3339(None) is None
