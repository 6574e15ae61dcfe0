"""Which layout was there on a day: by its own days, and by the one that replaces it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from trackkit.track.validity import is_valid, kept_by, local_day, validity_on


@dataclass(frozen=True)
class Layout:
    id: str
    name: str = "Invented"
    timezone: str | None = None
    valid_from: str | None = None
    valid_until: str | None = None
    replaces: str | None = None


def noon(day):
    return datetime.fromisoformat(f"{day}T12:00:00+00:00")


def there_on(layouts, moment):
    return kept_by(layouts, None if moment is None else validity_on(layouts, moment, 0.0))


OLD = Layout("old")
NEW = Layout("new", valid_from="2026-04-01", replaces="old")
NEWEST = Layout("newest", valid_from="2027-01-01", replaces="new")


@pytest.mark.parametrize(
    ("day", "there"),
    [
        ("2026-03-31", ["old"]),
        ("2026-04-01", ["new"]),
        ("2026-12-31", ["new"]),
        ("2027-01-01", ["newest"]),
    ],
)
def test_a_layout_is_there_until_the_day_another_replaces_it(day, there):
    assert [one.id for one in there_on([NEWEST, OLD, NEW], noon(day))] == there


def test_days_of_layouts_of_one_name_tell_them_apart_too():
    short = Layout("short", valid_until="2025-12-31")
    long = Layout("long", valid_from="2026-01-01")
    assert there_on([short, long], noon("2025-12-31")) == [short]
    assert there_on([short, long], noon("2026-01-01")) == [long]


def test_where_no_layout_of_a_circuit_was_there_all_are_kept():
    other = Layout("kart", name="Another")
    assert there_on([NEW, other], noon("2020-01-01")) == [NEW, other]


def test_where_nobody_knows_when_all_are_kept():
    assert there_on([OLD, NEW], None) == [OLD, NEW]


def test_layouts_side_by_side_that_say_nothing_of_days_are_all_there():
    layouts = [Layout("long"), Layout("short")]
    assert there_on(layouts, noon("2026-04-01")) == layouts


@pytest.mark.parametrize(
    ("timezone", "longitude", "day"),
    [
        # 23:30 UTC: the IANA database has New Zealand 12 hours ahead in winter, Chile 4 behind.
        ("Pacific/Auckland", 175.0, "2026-07-02"),
        ("America/Santiago", -70.0, "2026-07-01"),
        (None, 175.0, "2026-07-02"),
        (None, -70.0, "2026-07-01"),
        ("Sea/Nowhere", 20.0, "2026-07-02"),
        (None, 360.0 - 70.0, "2026-07-01"),
    ],
)
def test_the_day_is_that_of_the_place(timezone, longitude, day):
    moment = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)
    assert local_day(moment, timezone, longitude) == day


def test_first_and_last_day_count():
    layout = Layout("x", valid_from="2026-04-01", valid_until="2026-04-30")
    days = ["2026-03-31", "2026-04-01", "2026-04-30", "2026-05-01"]
    assert [is_valid(layout, day) for day in days] == [False, True, True, False]
