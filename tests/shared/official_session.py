"""A practice session whose official times were taken ahead of the finish gate."""

from dataclasses import replace
from datetime import timedelta
from functools import cache
from itertools import pairwise

import numpy as np
from checkout import TRACKS

from trackkit.official.align import Observed
from trackkit.official.passings import covariance_along, passings
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
            (line,),
            covariance_along(report.drive, [line]),
            begin,
            end,
            np.round(self.moment[end] - self.moment[begin], 3),
            np.full(len(begin), 1e-3),
        )
        self.by_day = replace(
            self.by_laps,
            begin=np.full(len(crossings), -1),
            end=np.arange(len(crossings)),
            value_s=np.round(self.moment, 3),
            rounding_s=np.full(len(crossings), 1e-3),
        )

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


@cache
def usual():
    return Session(noise=1.0)


@cache
def short():
    """Laps enough to be paired, for what is refused without looking for a line."""
    return Session(noise=1.0, laps=8)
