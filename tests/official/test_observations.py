"""Official times laid out between the passings of gates that they are of."""

from dataclasses import replace

import numpy as np
import official_session
import pytest

from trackkit.errors import TrackkitError
from trackkit.official.observations import fits_sectors, gather
from trackkit.official.times import read_official
from trackkit.timing.lap_times import time_laps

SECTORS = ["sector 1", "sector 2", "sector 3"]


@pytest.fixture(scope="module")
def session():
    return official_session.short()


@pytest.fixture(scope="module")
def report(session):
    return time_laps(session.track, session.recording)


@pytest.fixture
def listed(session, tmp_path):
    def read(*columns, ahead_s=0.0):
        return read_official(session.official(tmp_path / "list.csv", columns, ahead_s))

    return read


def test_a_list_fits_a_tracks_sectors_where_it_has_as_many(session, listed):
    assert fits_sectors(session.track, listed("lap", "lap time", *SECTORS))
    assert not fits_sectors(session.track, listed("lap", "lap time"))
    assert not fits_sectors(session.track, listed("lap", "sector 1", "sector 2"))


def test_lap_times_are_between_a_laps_first_and_last_passing(session, report, listed):
    times = listed("lap", "lap time")

    used = gather(session.track, report, times)

    count = len(session.laps)
    assert (used.laps, used.sectors, used.moments, used.unpaired) == (count, 0, 0, 0)
    # Laps that follow one another share a passing.
    (line,) = used.observed.lines
    assert len(line.crossing) == count + 1
    assert used.observed.begin.tolist() == list(range(count))
    assert used.observed.end.tolist() == list(range(1, count + 1))
    assert used.observed.value_s == pytest.approx([lap.time_s for lap in times.laps])
    passed = np.array([crossing.time_s for crossing in line.crossing])
    assert np.diff(passed) == pytest.approx(used.observed.value_s, abs=0.3)


def test_sector_times_are_between_neighbouring_gates_and_laps_are_not_counted_again(
    session, report, listed
):
    used = gather(session.track, report, listed("lap", "lap time", *SECTORS), with_sectors=True)

    count = len(session.laps)
    assert (used.laps, used.sectors) == (0, 3 * count)
    observed = used.observed
    assert [len(line.crossing) for line in observed.lines] == [count + 1, count, count]
    time = np.concatenate([[c.time_s for c in line.crossing] for line in observed.lines])
    assert time[observed.end] - time[observed.begin] == pytest.approx(observed.value_s, abs=0.8)


def test_a_lap_that_lacks_a_sector_time_counts_by_its_lap_time(session, report, listed):
    times = listed("lap", "lap time", *SECTORS)
    first, *others = times.laps
    broken = type(times)(
        **{
            **vars(times),
            "laps": (
                type(first)(**{**vars(first), "sectors_s": (first.sectors_s[0], None, None)}),
                *others,
            ),
        }
    )

    used = gather(session.track, report, broken, with_sectors=True)

    assert (used.laps, used.sectors) == (1, 3 * len(others) + 1)


@pytest.mark.parametrize("ahead_s", [0.0, 7200.0])
def test_times_of_day_are_moments_of_passings_in_the_recordings_seconds(
    session, report, listed, ahead_s
):
    times = listed("lap", "lap time", "time of day", ahead_s=ahead_s)

    used = gather(session.track, report, times, clock_within_s=0.1)

    observed = used.observed
    moment = observed.begin < 0
    assert used.zone_s == ahead_s
    # The end of every lap; what lies between two of them says nothing more.
    assert used.moments == moment.sum() == len(session.laps)
    (line,) = observed.lines
    passed = np.array([crossing.time_s for crossing in line.crossing])
    assert passed[observed.end[moment]] == pytest.approx(observed.value_s[moment], abs=1.0)
    # The first lap's beginning has no moment, so that its lap time counts.
    assert used.laps == 1
    assert any(f"UTC{ahead_s / 3600:+.2f} h" in remark for remark in used.remarks)


def test_a_clock_that_is_far_off_is_not_said_to_agree(session, report, listed):
    times = listed("lap", "lap time", "time of day", ahead_s=40.0)

    with pytest.raises(TrackkitError, match=r"its clock is \+\d+\.\d s off the receiver's"):
        gather(session.track, report, times, clock_within_s=0.1)
    assert gather(session.track, report, times).moments > 0


def test_nothing_can_be_said_of_a_clock_without_times_of_day(session, report, listed):
    with pytest.raises(TrackkitError, match="has no times of day"):
        gather(session.track, report, listed("lap", "lap time"), clock_within_s=0.1)


def scaled(times, factor):
    laps = tuple(type(lap)(**{**vars(lap), "time_s": factor * lap.time_s}) for lap in times.laps)
    return type(times)(**{**vars(times), "laps": laps})


@pytest.mark.parametrize(
    ("factor", "says"),
    [
        (1000.0, "as if it were in milliseconds"),
        (1 / 60.0, "as if it were in minutes"),
        (1.6, "official laps take"),
    ],
)
def test_times_of_something_else_are_refused_with_both_lengths(
    session, report, listed, factor, says
):
    times = scaled(listed("lap", "lap time"), factor)

    with pytest.raises(TrackkitError, match=says) as caught:
        gather(session.track, report, times)

    assert f"recorded ones {report.median_s:.1f} s" in caught.value.what


def test_moments_that_are_coarser_than_lap_times_do_not_take_their_place(session, report, listed):
    times = replace(listed("lap", "lap time", "time of day"), passed_resolution_s=1.0)

    used = gather(session.track, report, times)

    assert (used.laps, used.moments) == (len(session.laps), len(session.laps))
