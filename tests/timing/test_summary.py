"""What a coach reads first."""

from dataclasses import replace

import pytest
import two_sessions

from trackkit.timing.summary import summaries, summary_row


@pytest.fixture(scope="module")
def both():
    return two_sessions.sessions()


def test_each_driver_has_three_best_laps_and_the_day_too(both):
    anna, bert, day = summaries(both, {})

    assert (anna.driver, bert.driver, day.driver) == ("anna", "bert", None)
    for summary, reports in ((anna, both[:1]), (day, both)):
        times = sorted(lap.time_s for session in reports for lap in session.report.counted)
        assert [best.of.lap.time_s for best in summary.best] == times[:3]
        assert summary.laps_counted == len(times)
    assert day.on_track_s == pytest.approx(anna.on_track_s + bert.on_track_s)
    assert day.theoretical_best_s <= min(anna.theoretical_best_s, bert.theoretical_best_s)


def test_recordings_of_one_driver_are_summed_up_together(both):
    (only,) = summaries(both, {session.file: "Cleo" for session in both})

    assert only.driver == "Cleo"
    assert only.theoretical_best_s == pytest.approx(
        sum(
            min(lap.sectors[index].time_s for session in both for lap in session.report.counted)
            for index in range(3)
        )
    )
    assert only.theoretical_best_sigma_s > 0


def test_laps_within_a_sigma_of_each_other_are_marked_as_equal(both):
    session = both[0]
    first, *_ = session.report.counted
    twin = replace(first, number=99)
    alike = replace(session, report=replace(session.report, laps=(first, twin)))

    (summary,) = summaries([alike], {})

    assert [best.equal for best in summary.best] == [True, False]
    row = summary_row(summary, None)
    assert [best["equal_to_next"] for best in row["best_laps"]] == [True, False]
    assert row["best_over_theoretical_s"] >= 0
