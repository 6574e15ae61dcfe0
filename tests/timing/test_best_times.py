"""Theoretical and continuous best: what every list of laps keeps to."""

import pytest
from crossed_gates import laps
from hypothesis import given
from hypothesis import strategies as st

from trackkit.timing.best_times import continuous_best, sum_of_sectors_sigma, theoretical_best


def best_of(table):
    """Best lap, theoretical and continuous best of laps given as sector times."""
    pairs, now = [("finish", 0.0)], 0.0
    order = ["finish", *(f"s{n}" for n in range(1, len(table[0])))]
    for lap in table:
        for gate, sector in zip([*order[1:], "finish"], lap, strict=True):
            now += sector
            pairs.append((gate, now))
    found = laps(*pairs, order=order)
    counted = [lap for lap in found if lap.complete]
    return counted, theoretical_best(counted), continuous_best(found)


def test_theoretical_best_is_the_sum_of_the_best_sectors_and_continuous_best_one_run():
    # By hand: laps of 60 and 55 s; best sectors 10 + 20 + 20; from the first sector gate of the
    # first lap to that of the second, 20 + 20 + 10 = 50 s in one go.
    counted, theoretical, continuous = best_of([[20, 20, 20], [10, 20, 25]])

    assert [lap.time_s for lap in counted] == [60.0, 55.0]
    assert theoretical == 50.0
    assert continuous == 50.0


def test_continuous_best_may_be_the_best_lap_itself():
    # By hand: runs of 60, 62, 57 and 55 s; best sectors 10 + 15 + 28.
    _, theoretical, continuous = best_of([[10, 20, 30], [12, 15, 28]])

    assert (theoretical, continuous) == (53.0, 55.0)


SECTORS = st.integers(1, 5).flatmap(
    lambda n: st.lists(
        st.lists(st.floats(1.0, 120.0), min_size=n, max_size=n), min_size=1, max_size=8
    )
)


@given(SECTORS)
def test_a_lap_is_the_sum_of_its_sectors(table):
    counted, _, _ = best_of(table)

    assert len(counted) == len(table)
    for lap, sectors in zip(counted, table, strict=True):
        assert lap.time_s == pytest.approx(sum(sectors), abs=1e-9)
        assert sum(s.time_s for s in lap.sectors) == pytest.approx(lap.time_s, abs=1e-9)
        assert lap.sectors[-1].split_s == lap.time_s


@given(SECTORS)
def test_theoretical_best_is_at_most_continuous_best_is_at_most_the_best_lap(table):
    # Common practice, no source.
    counted, theoretical, continuous = best_of(table)

    assert theoretical <= continuous + 1e-9
    assert continuous <= min(lap.time_s for lap in counted) + 1e-9


@given(SECTORS)
def test_where_the_best_sectors_follow_one_another_theoretical_equals_continuous(table):
    # Each sector of the last lap is made the fastest of its kind.
    table = [*table, [0.5 + 0.01 * n for n in range(len(table[0]))]]

    counted, theoretical, continuous = best_of(table)

    assert theoretical == pytest.approx(continuous, abs=1e-9)
    assert continuous == pytest.approx(counted[-1].time_s, abs=1e-9)


@given(SECTORS, st.data())
def test_best_sectors_that_follow_one_another_across_a_finish_line_are_one_run_too(table, data):
    count = len(table[0])
    begun = data.draw(st.integers(0, count - 1))
    quick = [0.5 + 0.01 * n for n in range(count)]
    table = [*table, [60.0] * begun + quick[begun:], quick[:begun] + [60.0] * (count - begun)]

    _, theoretical, continuous = best_of(table)

    assert theoretical == pytest.approx(continuous, abs=1e-9)
    assert theoretical == pytest.approx(sum(quick), abs=1e-9)


def test_the_continuous_best_of_a_point_to_point_course_is_its_best_run():
    # The end of one run and the beginning of the next are not driven in one go.
    runs = laps(
        ("start", 10),
        ("one", 60),
        ("finish", 70),
        ("start", 200),
        ("one", 210),
        ("finish", 260),
        closed=False,
        order=["start", "one", "finish"],
    )

    assert continuous_best(runs) == 60.0
    assert theoretical_best(runs) == 20.0


def test_a_pit_lap_between_breaks_the_run_of_the_continuous_best():
    found = laps(
        ("finish", 0),
        ("one", 20),
        ("two", 40),
        ("finish", 60),
        ("pit", 61),
        ("one", 62),
        ("two", 64),
        ("finish", 66),
        ("one", 86),
        ("two", 106),
        ("finish", 126),
    )

    assert continuous_best(found) == 60.0


def test_sectors_of_one_lap_are_together_as_sure_as_the_lap(session):
    _, report = session
    lap = next(lap for lap in report.laps if lap.counts)
    sectors = list(enumerate(lap.sectors))

    sigma = sum_of_sectors_sigma(report.drive, [(i, sector, lap) for i, sector in sectors])

    assert sigma == pytest.approx(lap.sigma_s, rel=1e-6)
    # A sector by itself is less sure: its own crossings are not shared.
    for index, sector in sectors:
        one = sum_of_sectors_sigma(report.drive, [(index, sector, lap)])
        assert one == pytest.approx(sector.sigma_s, rel=1e-6)


def test_no_sectors_have_no_uncertainty(session):
    assert sum_of_sectors_sigma(session[1].drive, []) is None
