"""The official line found from official times, on drives whose truth is known."""

import json
import re
import shutil
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from checkout import TRACKS
from scipy.stats import multivariate_normal

from trackkit.cli import run
from trackkit.errors import TrackkitError
from trackkit.official.align import Observed, align_line
from trackkit.official.passings import Passings, covariance_along, passings
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track

KART = TRACKS / "pipwick-kart-circuit.geojson"
AHEAD_M = 12.0
SECTORS = 3


class Session:
    """A session, and when it truly passed a line ahead of the finish gate, and the sector gates."""

    def __init__(self, noise, laps=31, seed=300):
        self.track = read_track(KART)
        made = simulate_drive(self.track, laps=laps, rate_hz=10, seed=seed, noise=noise)
        self.recording = made.recording
        report = time_laps(self.track, made.recording)
        self.laps = [lap for lap in report.laps if lap.counts]
        crossings = list(
            dict.fromkeys(c for lap in self.laps for c in (lap.passed[0], lap.passed[-1]))
        )
        fine = np.arange(made.runs[0].start_s, made.runs[0].end_s, 0.01)
        gone = made.runs[0].chainage(fine)
        length = self.track.curve.length_m

        def passed(crossing, chainage):
            near = float(np.interp(crossing.time_s, fine, gone))
            return float(
                np.interp(length * round((near - chainage) / length) + chainage, gone, fine)
            )

        self.moment = np.array([passed(c, AHEAD_M) for c in crossings])
        gates = self.track.gates_of_kind("sector")
        self.marks = [
            [passed(lap.passed[0], AHEAD_M)]
            + [passed(c, g.chainage_m) for c, g in zip(lap.passed[1:-1], gates, strict=True)]
            + [passed(lap.passed[-1], AHEAD_M)]
            for lap in self.laps
        ]
        line = passings(self.track, report.drive, 0.0, crossings)
        place = {crossing: index for index, crossing in enumerate(crossings)}
        begin = np.array([place[lap.passed[0]] for lap in self.laps])
        end = np.array([place[lap.passed[-1]] for lap in self.laps])
        self.by_laps = Observed(
            (line,), covariance_along(report.drive, [line]), begin, end,
            np.round(self.moment[end] - self.moment[begin], 3), np.full(len(begin), 1e-3),
        )  # fmt: skip
        self.by_day = replace(
            self.by_laps, begin=np.full(len(crossings), -1), end=np.arange(len(crossings)),
            value_s=np.round(self.moment, 3), rounding_s=np.full(len(crossings), 1e-3),
        )  # fmt: skip

    def clock(self, moment, ahead_s=0.0):
        at = self.recording.start + timedelta(seconds=float(moment) + ahead_s)
        return f"{at:%H:%M:%S}.{at.microsecond // 1000:03d}"

    def rows(self, columns, ahead_s=0.0):
        for number, marks in enumerate(self.marks, start=1):
            sectors = [f"{b - a:.3f}" for a, b in pairwise(marks)]
            every = {
                "lap": str(number),
                "lap time": f"{marks[-1] - marks[0]:.3f}",
                "time of day": self.clock(marks[-1], ahead_s),
                **{f"sector {i}": one for i, one in enumerate(sectors, start=1)},
            }
            yield ",".join(every[name] for name in columns)

    def official(self, path, columns, ahead_s=0.0):
        path.write_text(
            "\n".join([",".join(columns), *self.rows(columns, ahead_s)]) + "\n", "utf-8"
        )
        return str(path)


@pytest.fixture(scope="module")
def usual():
    return Session(noise=1.0)


@pytest.fixture(scope="module")
def quiet():
    return Session(noise=0.02)


@pytest.fixture
def files(usual, tmp_path):
    track, drive = tmp_path / "t.geojson", tmp_path / "r.nmea"
    shutil.copy(KART, track)
    write_recording(usual.recording, drive)
    return track, drive


def first(observed, count):
    return observed.part(np.arange(len(observed.value_s)) < count)


def align(track, drive, official, *options):
    return run(["gate", "align", str(track), str(drive), "--official", official, *options])


# The library


def test_without_noise_lap_times_alone_find_the_line(quiet):
    aligned = align_line([quiet.by_laps])

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=0.7)
    assert aligned.told


def test_lap_times_alone_find_the_line_within_what_they_say(usual):
    aligned = align_line([usual.by_laps])

    assert abs(aligned.ahead_m - AHEAD_M) < 4 * aligned.sigma_m
    assert 0.3 < aligned.sigma_m < 3.0


def test_passing_times_on_the_receivers_clock_tell_far_more(usual):
    aligned = align_line([usual.by_day], clock_within_s=0.0)

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=1.5)
    assert aligned.sigma_m < 0.6 * align_line([usual.by_laps]).sigma_m


def test_a_clock_of_unknown_offset_tells_as_much_as_the_lap_times(usual):
    """Not rounded, laps that follow one another and the moments between them say the same."""
    late = replace(usual.by_day, value_s=usual.moment + 41.3)
    value = usual.moment[usual.by_laps.end] - usual.moment[usual.by_laps.begin]
    aligned, by_laps = align_line([late]), align_line([replace(usual.by_laps, value_s=value)])

    assert aligned.ahead_m == pytest.approx(by_laps.ahead_m, abs=0.2 * by_laps.sigma_m)
    assert aligned.sigma_m == pytest.approx(by_laps.sigma_m, rel=0.1)
    assert aligned.clock_s[0] == pytest.approx(41.3, abs=0.2)


def test_a_clock_that_agrees_roughly_lies_between(usual):
    sigma = [
        align_line([usual.by_day], clock_within_s=within).sigma_m for within in (0.0, 0.03, None)
    ]

    assert sigma[0] < sigma[1] < sigma[2]


def test_two_recordings_tell_more_than_one(usual):
    other = Session(noise=1.0, seed=301)
    one, two = align_line([usual.by_laps]), align_line([usual.by_laps, other.by_laps])

    assert two.sigma_m == pytest.approx(one.sigma_m / np.sqrt(2), rel=0.35)
    assert abs(two.ahead_m - AHEAD_M) < 4 * two.sigma_m


def test_an_antenna_ahead_of_the_transponder_shifts_the_line_back(quiet):
    """The antenna is past the line by its offset when the transponder reaches it."""
    beside = align_line([quiet.by_day], clock_within_s=0.0)
    ahead = align_line([quiet.by_day], clock_within_s=0.0, antenna_ahead_m=1.2)

    assert ahead.ahead_m == pytest.approx(beside.ahead_m - 1.2)


def test_a_wrong_official_time_is_left_out(usual):
    value = usual.by_laps.value_s.copy()
    value[7] += 0.2
    aligned, clean = (
        align_line([replace(usual.by_laps, value_s=value)]),
        align_line([usual.by_laps]),
    )

    assert aligned.left_out == 1
    assert aligned.ahead_m == pytest.approx(clean.ahead_m, abs=0.5 * clean.sigma_m)


def test_times_that_bury_what_differs_between_laps_cannot_tell(usual):
    rough = replace(
        usual.by_laps, value_s=np.round(2 * usual.by_laps.value_s) / 2,
        rounding_s=np.full(len(usual.by_laps.value_s), 0.5),
    )  # fmt: skip
    aligned = align_line([first(rough, 6)])

    assert not aligned.told
    assert aligned.times_needed > 6


def test_too_few_times_are_refused(usual):
    with pytest.raises(TrackkitError, match="too few"):
        align_line([first(usual.by_laps, 3)])


def test_at_constant_speeds_the_answer_is_that_of_least_squares():
    """By hand: moments on a known clock, errors independent: mean and root of n, Student's t."""
    count, speed, sigma = 24, 20.0, 0.5
    place = np.linspace(-100.0, 100.0, 401)
    lap = 50.0 * np.arange(count)
    line = Passings(
        place, lap[:, None] + place / speed, np.full((count, 401), 1 / speed),
        tuple(range(count)), np.array([1.0, 0.0]),
    )  # fmt: skip
    away = sigma * np.random.default_rng(5).standard_normal(count)
    observed = Observed(
        (line,), sigma**2 * np.eye(count), np.full(count, -1), np.arange(count),
        lap + (7.0 + away) / speed, np.zeros(count),
    )  # fmt: skip
    aligned = align_line([observed], clock_within_s=0.0)
    size = (10.0 + ((away - away.mean()) ** 2).sum() / sigma**2) / (10.0 + count - 3)

    assert aligned.ahead_m == pytest.approx(7.0 + away.mean(), abs=0.01)
    assert aligned.sigma_m == pytest.approx(sigma * np.sqrt(size / count), rel=0.02)


def test_laps_share_the_passing_between_them():
    """Against scipy's normal density of all lap times together, at two places of the line."""
    random = np.random.default_rng(6)
    count, sigma = 9, 0.4
    pace = 1.0 / random.uniform(18.0, 22.0, count)
    place = np.linspace(-100.0, 100.0, 401)
    lap = 50.0 * np.arange(count)
    line = Passings(
        place, lap[:, None] + pace[:, None] * place, np.repeat(pace[:, None], 401, axis=1),
        tuple(range(count)), np.array([1.0, 0.0]),
    )  # fmt: skip
    apart = np.arange(count)
    spread = sigma**2 * (np.eye(count) + np.exp(-np.abs(apart[:, None] - apart) / 3.0))
    value = 50.0 + 5.0 * np.diff(pace) + 0.01 * random.standard_normal(count - 1)
    observed = Observed((line,), spread, apart[:-1], apart[1:], value, np.zeros(count - 1))
    aligned = align_line([observed])

    differ = np.eye(count)[1:] - np.eye(count)[:-1]
    covariance = differ @ (pace[:, None] * spread * pace) @ differ.T
    normal = multivariate_normal(np.zeros(count - 1), covariance)
    at = np.linspace(-66.0, 66.0, 2000)
    square = np.array([
        -2 * (normal.logpdf(value - 50.0 - y * np.diff(pace)) - normal.logpdf(np.zeros(count - 1)))
        for y in at
    ])  # fmt: skip
    density = (10.0 + square) ** (-0.5 * (10 + count - 1))
    assert aligned.ahead_m == pytest.approx(at @ density / density.sum(), abs=0.1)


# The command


def test_the_command_says_where_and_what_to_type(usual, files, tmp_path, capsys):
    track, drive = files
    before = track.read_bytes()
    official = usual.official(tmp_path / "o.csv", ["lap", "lap time"])

    assert align(track, drive, official, "--antenna-ahead", "0") == 0
    said = capsys.readouterr()
    assert "ahead of the finish gate" in said.out
    assert f"trackkit gate move {track} finish 1" in said.err
    assert "antenna" not in said.err
    assert track.read_bytes() == before


def test_applied_it_moves_the_finish_gate_and_keeps_the_file_as_it_was(
    usual, files, tmp_path, capsys
):
    track, drive = files
    before, finish = track.read_bytes(), read_track(track).finish
    official = usual.official(tmp_path / "o.csv", ["lap", "lap time", "time of day"])

    assert align(track, drive, official, "--clock-within", "0", "--apply", "--json") == 0
    said = capsys.readouterr()
    told = json.loads(said.out)
    assert told["moved"]
    assert "--antenna-ahead" in said.err
    assert Path(f"{track}~").read_bytes() == before
    moved = read_track(track)
    plane = moved.plane
    ends = [plane.to_plane(*np.transpose([g.left, g.right])).mean(axis=0)
            for g in (finish, moved.finish)]  # fmt: skip
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(told["ahead_m"], abs=0.1)
    assert "to the official line" in moved.history[-1]["what"]


def test_a_time_zone_is_no_difference_of_clocks(usual, files, tmp_path, capsys):
    track, drive = files
    official = usual.official(tmp_path / "o.csv", ["lap", "time of day"], ahead_s=5.5 * 3600)

    assert align(track, drive, official, "--clock-within", "0", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["recordings"][0]["zone_s"] == 5.5 * 3600
    assert told["ahead_m"] == pytest.approx(AHEAD_M, abs=1.5)


def test_sector_times_tell_more_than_lap_times_and_find_the_sector_lines(
    usual, files, tmp_path, capsys
):
    track, drive = files
    sigma = []
    for name, columns in (("l", []), ("s", [f"sector {i}" for i in range(1, SECTORS + 1)])):
        official = usual.official(tmp_path / f"{name}.csv", ["lap", "lap time", *columns])
        assert align(track, drive, official, "--json") == 0
        told = json.loads(capsys.readouterr().out)
        assert abs(told["ahead_m"] - AHEAD_M) < 4 * told["sigma_m"]
        sigma.append(told["sigma_m"])
    assert sigma[1] < 0.9 * sigma[0]
    assert all(abs(line["ahead_m"]) < 4.0 for line in told["sector_lines"])


@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        ("driver,kart\nA,7\n", (), "which of its columns holds the lap time?"),
        ("lap,time\n1,91.2\n2,88.1\n3,95.4\n4,89.9\n5,90.5\n", (), "official laps? fit"),
        ("lap,time\n1,51000\n2,51900\n3,51400\n4,51100\n5,51200\n", (), "milliseconds"),
        ("lap,time of day\n1,9:61:00\n2,9:02:00\n", (), "line 2: '9:61:00' is no time of day"),
    ],
    ids=["no column", "other laps", "other unit", "no time of day"],
)  # fmt: skip
def test_what_cannot_be_used_is_said(files, tmp_path, capsys, text, options, said):
    (tmp_path / "o.csv").write_text(text, "utf-8")

    assert align(*files, str(tmp_path / "o.csv"), *options) == 1
    assert re.search(said, capsys.readouterr().err)


def test_a_clock_without_times_of_day_is_refused(usual, files, tmp_path, capsys):
    official = usual.official(tmp_path / "o.csv", ["lap", "lap time"])

    assert align(*files, official, "--clock-within", "0") == 1
    assert "has no times of day" in capsys.readouterr().err


def test_times_of_another_day_are_refused(usual, files, tmp_path, capsys):
    official = tmp_path / "o.csv"
    usual.official(official, ["lap", "lap time", "time of day"])
    head, *rows = official.read_text("utf-8").splitlines()
    dated = [",".join([*row.split(",")[:2], "2024-05-05 " + row.split(",")[2]]) for row in rows]
    official.write_text("\n".join([head, *dated]) + "\n", "utf-8")

    assert align(*files, str(official)) == 1
    assert "are of 2024-05-05, the recording of 2024-05-04" in capsys.readouterr().err


def test_a_clock_that_does_not_agree_after_all_is_refused(usual, files, tmp_path, capsys):
    official = usual.official(tmp_path / "o.csv", ["lap", "time of day"], ahead_s=41.3)

    assert align(*files, official, "--clock-within", "0") == 1
    assert "off the receiver's" in capsys.readouterr().err
