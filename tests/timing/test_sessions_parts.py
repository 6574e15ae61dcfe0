"""Which lap is the reference, and how well differences are known, from reports laid out by hand."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from trackkit.errors import TrackkitError
from trackkit.timing.decimals import decimals
from trackkit.timing.sessions import (
    Reference,
    Session,
    choose_reference,
    lap_difference,
    lap_name,
    ranking,
    sector_differences,
)


def lap(number, time_s, *, session=1, begin_s=0.0, middle_s=None):
    times = [begin_s, begin_s + (time_s or 1.0) / 2, begin_s + (time_s or 1.0)]
    if middle_s is not None:
        times[1] = middle_s
    passed = [SimpleNamespace(time_s=at) for at in times]
    return SimpleNamespace(
        number=number, session=session, time_s=time_s, passed=passed, sectors=(1, 2)
    )


def session(file, laps, *, label=None, sessions=1, sigma_s=0.1):
    asked = []

    def sigma_of(terms):
        asked.append(sorted((crossing.time_s, weight) for crossing, weight in terms))
        return sigma_s

    report = SimpleNamespace(
        laps=laps,
        counted=[one for one in laps if one.time_s is not None],
        sessions=range(sessions),
        sigma_of=sigma_of,
        asked=asked,
    )
    return Session(file, label or file, report)


@pytest.mark.parametrize(
    ("sigma_s", "places"),
    [
        (None, 3),
        (0.0, 3),
        (0.0001, 3),
        (0.0034, 3),
        # The second significant digit of 0.034 is the thousandth, of 0.34 the hundredth.
        (0.034, 3),
        (0.34, 2),
        (0.0996, 2),
        (3.4, 1),
        (34.0, 0),
        (340.0, 0),
    ],
)
def test_a_time_has_no_more_decimals_than_its_uncertainty_supports(sigma_s, places):
    assert decimals(sigma_s) == places


DAY = [
    session("out/monday.csv", [lap(1, 61.0), lap(2, 60.0), lap(3, None)], label="anna"),
    session(
        "tuesday.csv",
        [lap(1, 62.0), lap(1, 59.0, session=2), lap(4, 63.0, session=2)],
        sessions=2,
    ),
]


def test_without_a_wish_the_fastest_lap_of_all_is_the_reference():
    best = choose_reference(DAY)

    assert (best.session.file, best.lap.time_s) == ("tuesday.csv", 59.0)
    assert [entry.lap.time_s for entry in ranking(DAY)] == [59.0, 60.0, 61.0, 62.0, 63.0]
    assert choose_reference([session("a", [])]) is None


@pytest.mark.parametrize(
    ("wanted", "time_s"),
    [
        ("anna:2", 60.0),
        ("out/monday.csv:1", 61.0),
        ("monday.csv:1", 61.0),
        ("tuesday.csv:1.1", 62.0),
        ("tuesday.csv:2.1", 59.0),
        ("tuesday.csv:4", 63.0),
    ],
)
def test_a_reference_is_named_by_recording_session_and_number(wanted, time_s):
    assert choose_reference(DAY, wanted).lap.time_s == time_s


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("anna:x", "has no lap number"),
        ("anna:", "has no lap number"),
        ("anna:x.2", "has no lap number"),
        ("2", "of which recording"),
        ("bert:2", "not among those that were timed"),
        ("tuesday.csv:1", "write one of 1.1, 2.1"),
        ("tuesday.csv:9", "laps with a time are 1.1, 2.1, 2.4"),
        ("anna:3", "laps with a time are 1, 2"),
        ("anna:2.2", "has no lap 2.2"),
    ],
)
def test_what_names_no_one_lap_is_refused_with_what_there_is(wanted, words):
    with pytest.raises(TrackkitError) as refused:
        choose_reference(DAY, wanted)

    assert words in str(refused.value)


def test_of_one_recording_the_number_alone_is_enough():
    assert choose_reference(DAY[:1], "2").lap.time_s == 60.0
    with pytest.raises(TrackkitError, match="no lap of it has a time"):
        choose_reference([session("a", [lap(1, None)])], "1")


def test_a_lap_is_called_after_its_session_where_there_are_several():
    assert lap_name(DAY[0].report, DAY[0].report.laps[1]) == "2"
    assert lap_name(DAY[1].report, DAY[1].report.laps[2]) == "2.4"


def test_a_difference_of_laps_of_one_drive_is_known_as_a_whole():
    first, second = lap(1, 60.0), lap(2, 61.5, begin_s=60.0)
    one = session("a", [first, second], sigma_s=0.2)

    difference = lap_difference(one, second, Reference(one, first))

    assert difference.time_s == pytest.approx(1.5)
    assert difference.sigma_s == 0.2
    # The end of one is the beginning of the other.
    assert one.report.asked == [[(0.0, 1.0), (60.0, -1.0), (60.0, -1.0), (121.5, 1.0)]]


@pytest.mark.parametrize(("gap_s", "whole"), [(59.0, True), (61.0, False)])
@pytest.mark.parametrize("turned", [False, True])
def test_laps_a_minute_apart_are_independent(gap_s, whole, turned):
    first, second = lap(1, 60.0), lap(2, 61.0, begin_s=60.0 + gap_s)
    one = session("a", [first, second], sigma_s=0.3)
    if turned:
        first, second = second, first

    difference = lap_difference(one, second, Reference(one, first))

    assert difference.time_s == pytest.approx(-1.0 if turned else 1.0)
    assert difference.sigma_s == pytest.approx(0.3 if whole else 0.3 * 2**0.5)
    assert len(one.report.asked) == (1 if whole else 2)


def test_laps_of_two_recordings_are_independent():
    one, other = (
        session("a", [lap(1, 60.0)], sigma_s=0.3),
        session("b", [lap(1, 61.0)], sigma_s=0.4),
    )

    difference = lap_difference(one, one.report.laps[0], Reference(other, other.report.laps[0]))

    assert (difference.time_s, difference.sigma_s) == pytest.approx((-1.0, 0.5))
    assert one.report.asked == [[(0.0, -1.0), (60.0, 1.0)]]


def test_sectors_are_compared_each_with_the_same_one_however_far_apart():
    first = lap(1, 60.0, middle_s=25.0)
    second = lap(2, 62.0, begin_s=600.0, middle_s=626.0)
    one = session("a", [first, second], sigma_s=0.2)

    sectors = sector_differences(one, second, Reference(one, first))

    # 26 and 36 s against 25 and 35 s.
    assert [(d.time_s, d.sigma_s) for d in sectors] == [(1.0, 0.2), (1.0, 0.2)]
    assert sector_differences(one, second, None) == [None, None]
    assert lap_difference(one, second, None) is None


def test_a_lap_whose_end_is_not_known_has_no_difference():
    first, second = lap(1, 60.0), lap(2, 61.0)
    second.passed[-1] = None
    one = session("a", [first, second])

    assert lap_difference(one, second, Reference(one, first)) is None
    assert lap_difference(one, first, Reference(one, second)) is None
    there = sector_differences(one, second, Reference(one, first))
    assert [d is None for d in there] == [False, True]
