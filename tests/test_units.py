"""Speeds and lengths for people, by the published definitions of the mile and the foot."""

from __future__ import annotations

import pytest

from trackkit.units import UNITS, shown_in, units


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
