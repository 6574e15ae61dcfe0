"""Speeds and lengths for people, by the published definitions of the mile and the foot."""

from __future__ import annotations

import pytest

from trackkit.units import UNITS, as_read, shown_in, units


def test_people_read_kilometres_an_hour_and_metres_unless_they_ask():
    assert units() is UNITS["metric"]
    with shown_in("imperial"):
        assert units() is UNITS["imperial"]
    assert units() is UNITS["metric"]


def test_a_foot_is_0_3048_m_and_a_mile_1609_344_m():
    # International yard and pound agreement, 1959.
    imperial = UNITS["imperial"]

    assert imperial.length_per_m * 0.3048 == pytest.approx(1.0, rel=1e-15)
    assert imperial.long_per_m * 1609.344 == pytest.approx(1.0, rel=1e-15)
    assert imperial.speed_per_mps * 0.44704 == pytest.approx(1.0, rel=1e-15)
    assert UNITS["metric"].speed_per_mps == 3.6


@pytest.mark.parametrize(
    ("name", "speed", "length", "near", "far"),
    [
        ("metric", "180 km/h", "1,234.5 m", "999.0 m", "5.00 km"),
        ("imperial", "112 mph", "4,050.2 ft", "3,277.6 ft", "3.11 mi"),
    ],
)
def test_quantities_are_written_with_their_units(name, speed, length, near, far):
    shown = UNITS[name]

    assert shown.speed_text(50.0) == speed
    assert shown.length_text(1234.5, 1) == length
    assert shown.distance_text(999.0) == near
    assert shown.distance_text(5000.0) == far


@pytest.mark.parametrize(
    ("metric", "imperial"),
    [
        ("left the line by 25 m at 610 m", "left the line by 82 ft at 2,001 ft"),
        ("drove 1,000.0 m of 914.4 m", "drove 3,280.8 ft of 3,000.0 ft"),
        ("between 30 and 40 m, 30 to 40 m", "between 98 and 131 ft, 98 to 131 ft"),
        ("30-40 m, 0.50 → 0.61 m (+0.11 m)", "98-131 ft, 1.64 → 2.00 ft (+0.36 ft)"),
        ("at -20.0 m, 161 km/h and 8 m/s² there", "at -65.6 ft, 100 mph and 26 ft/s² there"),
        ("80.5 km away, 0.05 m/s of noise", "50.0 mi away, 0.16 ft/s of noise"),
        ("0.5 to 500 metres", "1.6 to 1,640 feet"),
        # Of other things and of commands to be typed nothing changes.
        ("8 ms, 3 min, 10 Hz, 2 m², 5 mm", "8 ms, 3 min, 10 Hz, 2 m², 5 mm"),
        ("gate move t.geojson g 412.0m", "gate move t.geojson g 412.0m"),
    ],
)
def test_sentences_are_read_in_feet_and_miles_with_their_decimals(metric, imperial):
    assert as_read(metric) == metric
    with shown_in("imperial"):
        assert as_read(metric) == imperial


def test_what_a_person_called_something_stays_as_it_is():
    sentence = "gate 50 m board is 12 m wide, gate 150 m board 3 m"
    with shown_in("imperial"):
        assert as_read(sentence, ["50 m board", "150 m board", "Start"]) == (
            "gate 50 m board is 39 ft wide, gate 150 m board 10 ft"
        )
