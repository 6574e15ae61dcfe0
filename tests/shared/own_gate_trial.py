"""Random sector gates on a page, and the same times by the gate set that the page saves."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace

import numpy as np
from browsing import Visit

import trackkit

GATES = 4
"""In a set."""
LEAST_APART_M = 40.0
COUNTED = ("10 Hz", "5 Hz", "1 Hz", "5 Hz without velocity")
"""What the recordings of `recordings_of` are, in their order."""


def recordings_of(track):
    """Recordings as different receivers make them, of which a page gets one each."""
    drives = [(4, 10.0, 21), (3, 5.0, 22), (3, 1.0, 23), (3, 5.0, 24)]
    recordings = [
        trackkit.simulate_drive(track, laps=laps, rate_hz=rate_hz, seed=seed).recording
        for laps, rate_hz, seed in drives
    ]
    bare = {"speed_mps": None, "course_deg": None, "speed_accuracy_mps": None}
    return [*recordings[:-1], replace(recordings[-1], **bare)]


def random_places(length_m: float, seed: int) -> list[float]:
    """Draw places of gates that are not on top of each other."""
    draw = np.random.default_rng(seed)
    while True:
        places = np.sort(draw.uniform(LEAST_APART_M, length_m - LEAST_APART_M, GATES))
        if np.diff(places).min() > LEAST_APART_M:
            return places.tolist()


def lay(visit: Visit, places: list[float]) -> dict:
    """Lay gates on the page, and return its gate set and laps."""
    return visit.page.evaluate(
        """places => { const { own, session } = trackkit.page;
            const others = own.official.gates.filter(gate => gate.kind !== "sector");
            const like = own.official.gates.find(gate => gate.kind === "sector");
            own.lay([...others, ...places.map((at, n) =>
                own.laid({ ...like, id: `own-${n}` }, session.toBase(at), like.width_m))]);
            const bests = session.day.summaries.map(
                summary => [summary.driver, summary.theoretical_best_sigma_s]);
            return { set: own.document(), laps: session.laps(), bests }; }""",
        places,
    )


@dataclass
class Trial:
    """A page held against `laps --gates`: one recording.

    Parameters
    ----------
    apart_s
        Differences of times since the start of a lap and of those of sectors, seconds.
    of_laps, of_ways
        Ratios of sigmas of sectors: of laps, and of ways to the first lap and from the last.
    unlike
        How many sectors have a time on one side only.
    of_bests
        Ratios of sigmas of theoretical bests.
    """

    apart_s: list[float]
    of_laps: list[float]
    of_ways: list[float]
    unlike: int = 0
    of_bests: list[float] = field(default_factory=list)


def compared(visit: Visit, track, timed, folder, seeds) -> list[Trial]:
    """Hold sets of random gates against `laps --gates`, by recording."""
    trials = [Trial([], [], []) for _ in timed]
    for seed in seeds:
        shown = lay(visit, random_places(track.curve.length_m, seed))
        path = folder / f"{seed}.geojson"
        path.write_text(json.dumps(shown["set"]), "utf-8")
        own = trackkit.with_gate_set(track, path)
        for index, recording in enumerate(timed):
            report = recording.report(own)
            of_page = dict(shown["bests"])[COUNTED[index]]
            trials[index].of_bests.append(of_page / report.theoretical_best_sigma_s)
            laps = {(lap.session, lap.number): lap for lap in report.laps}
            for lap in shown["laps"]:
                if lap["recording"] != index:
                    continue
                expected = laps[lap["session"], lap["number"]]
                trial = trials[index]
                if lap["time_s"] is not None:
                    times = np.cumsum([sector["time_s"] for sector in lap["sectors"]])
                    trial.apart_s.extend(times - [sector.split_s for sector in expected.sectors])
                for of_page, sector in zip(lap["sectors"], expected.sectors, strict=True):
                    # Ways to the first lap and from the last have some of their sectors.
                    trial.unlike += (of_page["time_s"] is None) != (sector.time_s is None)
                    if sector.time_s is not None and of_page["time_s"] is not None:
                        trial.apart_s.append(of_page["time_s"] - sector.time_s)
                        ratios = trial.of_ways if lap["time_s"] is None else trial.of_laps
                        ratios.append(of_page["sigma_s"] / sector.sigma_s)
    return trials
