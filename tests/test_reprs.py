"""A public value shows itself in one short line, however much it holds."""

from __future__ import annotations

import dataclasses
import inspect
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import trackkit
from trackkit import Track
from trackkit.building.revise import ChangedStretch
from trackkit.library.known import Candidate, Located, circuit_of
from trackkit.motion.smooth import smooth
from trackkit.open_map.import_circuits import MapCircuit
from trackkit.timing.losses import Section
from trackkit.timing.section_speeds import SectionSpeeds
from trackkit.track.accuracy import Verdict
from trackkit.track.features import Crossover
from trackkit.track.history import now

LONG = "Salt Pan, the long way round by the wells and back " * 100
LONGEST_REPR = 200
COUNT = 2000


def big_values() -> dict[str, object]:
    angle = np.linspace(0.0, 2.0 * np.pi, COUNT, endpoint=False)
    wave = 0.004 + 0.0004 * np.sin(20.0 * angle)
    gate = trackkit.Gate("g" * 1000, "sector", LONG, (5.0, 24.0), (5.0, 24.001), 0, 123456.789)
    track = Track.from_arrays(
        5.0 + wave * np.cos(angle),
        24.0 + wave * np.sin(angle),
        LONG,
        layout=LONG,
        height_m=np.zeros(COUNT),
    )
    track = dataclasses.replace(
        track,
        gates=(gate,) * 400,
        history=({"what": LONG, "revised": now(), "by": None},) * 200,
        notes=LONG,
        foreign={"more": [LONG] * 100},
    )
    seconds = np.arange(COUNT) / 10.0
    recording = trackkit.Recording.from_arrays(
        seconds, 5.0 + 0.00002 * seconds, np.full(COUNT, 24.0), name=LONG
    )
    lap = trackkit.Lap(12, "flying", True, 0.0, 83.217, (LONG,) * 50, ())
    remedy = trackkit.Remedy(LONG, do="gate place", feature=LONG, chainage_m=1e5, value={"a": LONG})
    candidate = Candidate(LONG, LONG, LONG, "clockwise", 123456.7, 0.5)
    build = trackkit.Build(track, 12, {LONG: 4}, (LONG,) * 100, band=((0.0, 1.0, 2.0),) * COUNT)
    other = dataclasses.replace(track, name=LONG[1:], notes="", length_m=5.0, country="XX")
    point = trackkit.PlanPoint(1e5 / 3, 1e5 / 7, (5 / 3, 24 / 7), LONG)
    known = circuit_of(track, Path(LONG))
    mapped = MapCircuit(LONG, LONG, LONG, "clockwise", 1e5 / 7, Path(LONG), "added", True, (LONG,))
    speeds = SectionSpeeds(100 / 3, 100 / 7, 1e5 / 9)
    return {
        "Track": track,
        "Centreline": track.centreline,
        "Gate": gate,
        "Corner": dataclasses.replace(track.corners[0], name=LONG, properties={"more": LONG}),
        "PitLane": trackkit.PitLane(LONG, angle, angle, properties={"more": LONG}),
        "Crossover": Crossover(1e5, 2e5, {"more": LONG}),
        "Place": trackkit.Place(ends=((5 / 3, 24 / 7), (5 / 9, 24 / 11)), remarks=(LONG,)),
        "Recording": recording,
        "Channel": trackkit.Channel(LONG, LONG, np.arange(999.0), np.arange(999.0)),
        "Drive": smooth(recording, track.plane),
        "DrawnLine": trackkit.DrawnLine(angle, angle, name=LONG, remarks=(LONG,)),
        "Lap": lap,
        "LapReport": trackkit.LapReport(LONG, None, (lap,) * 500, (), 83.2, None, None, None, None),
        "LapRules": trackkit.LapRules(1e9 / 3.0, 1e9 / 7.0, 5.0 / 3.0, all_laps=True),
        "TimeDifference": trackkit.TimeDifference(angle, angle, angle),
        "Loss": trackkit.Loss(Section(LONG, LONG, 1e5 / 3, 1e5 / 7), 1 / 3, 1 / 7, speeds, speeds),
        "Finding": trackkit.Finding("warning", "gate-off-track", LONG, 1e5, None, LONG, remedy),
        "Remedy": remedy,
        "FactChange": trackkit.FactChange(track, "notes", LONG, LONG, LONG),
        "Change": trackkit.Change(track, gate, (LONG,), LONG),
        "Build": build,
        "Revision": trackkit.Revision(build, (ChangedStretch(1.0, 2.0, 3.0),) * 300, (1.0, -2.0)),
        "Simulation": trackkit.Simulation(
            recording, {"crossings": [LONG] * 99, "laps": [LONG] * 99}, track.plane, ()
        ),
        "Comparison": trackkit.compare_tracks(track, other),
        "MapImport": trackkit.MapImport(
            Path(LONG), (mapped,) * 500, {LONG: 7}, (LONG,) * 50, (LONG,) * 50
        ),
        "Imported": trackkit.Imported(track, (LONG,) * 50, trackkit.compare_tracks(track, other)),
        "ExportedDrives": trackkit.ExportedDrives((LONG,) * 50, {LONG: 10**9}, (LONG,) * 50),
        "Added": trackkit.Added(track, Path(LONG), None, (LONG,) * 50),
        "Description": trackkit.Description(track, (LONG,) * 99, None),
        "FinishAlignment": trackkit.FinishAlignment(
            SimpleNamespace(ahead_m=-1234.5, sigma_m=12.25), (LONG,) * 99, (LONG,) * 99, 1.0
        ),
        "Judgement": trackkit.Judgement(
            Verdict(False, (LONG,) * 50, LONG, "2026-11-26"), remedy, (LONG,) * 50
        ),
        "Known": known,
        "Library": trackkit.Library((LONG,) * 50),
        "Listing": trackkit.Listing(track, LONG),
        "Listed": trackkit.Listed(known, 123456.7),
        "OfficialTimes": trackkit.OfficialTimes(LONG, (LONG,) * 500, 0.001, (LONG,) * 50),
        "Split": trackkit.Split("time", (LONG,) * 50, LONG),
        "Pairing": trackkit.Pairing(
            trackkit.OfficialTimes(LONG, (LONG,) * 500, 0.001, (LONG,) * 50),
            (LONG,) * 500,
            (LONG,) * 50,
            (lap,) * 50,
            None,
            (None,) * 20,
        ),
        "TimingQuality": trackkit.timing_quality(track),
        "Archive": trackkit.Archive(LONG),
        "ArchiveForgetting": trackkit.ArchiveForgetting(LONG, ("0" * 64,) * 50, (LONG,) * 50),
        "ArchiveRefresh": trackkit.ArchiveRefresh(LONG, 10**6, 10**5, 7, 10**8),
        "ArchiveAddition": trackkit.ArchiveAddition(LONG, 10**6, 10**8, 7, (), (), (LONG,) * 50),
        "UnknownPlace": trackkit.UnknownPlace(5 / 3, 24 / 7, (LONG,) * 50, (LONG,) * 50),
        "Underlay": trackkit.Underlay(LONG, LONG, LONG),
        "EmbeddedPicture": trackkit.EmbeddedPicture(
            LONG * 100, 5 / 3, 24 / 7, 5 / 9, 24 / 11, LONG, 1 / 3, 1 / 7, 1 / 9
        ),
        "PlanPoint": point,
        "UnplacedPlan": trackkit.UnplacedPlan(LONG, 10**6, LONG, 10**9),
        "PlacedPlan": trackkit.PlacedPlan(
            (point,) * 500, track.plane, np.eye(3) / 3, "projective", angle[:, None], 1 / 3, 7
        ),
        "Located": Located("near", (candidate,) * 50, (LONG,) * 50, 1.0, 0.5),
    }


@pytest.fixture(scope="module")
def values():
    return big_values()


def test_every_public_type_is_tried(values):
    public = {
        name
        for name in trackkit.__all__
        if inspect.isclass(getattr(trackkit, name))
        and not issubclass(getattr(trackkit, name), Exception)
    }
    assert public <= set(values)


def test_reprs_are_one_short_line_that_begins_with_the_types_name(values):
    for name, value in values.items():
        said = repr(value)
        assert type(value).__name__ == name
        assert said.startswith(f"{name}("), said
        assert len(said) <= LONGEST_REPR, (len(said), said)
        assert "\n" not in said


def test_reprs_say_what_tells_one_value_from_another(values):
    track = dataclasses.replace(values["Track"], id="salt-pan", name="Salt Pan", layout="")
    corner = dataclasses.replace(values["Corner"], number=7, name="Wells", min_radius_m=31.25)
    gate = dataclasses.replace(values["Gate"], id="g-1", name="Wells", chainage_m=412.0)

    assert repr(track).startswith("Track('salt-pan', 'Salt Pan', ")
    assert "anticlockwise, 400 gates" in repr(track)
    assert repr(gate).startswith("Gate('g-1', 'sector', 'Wells', at 412.0 m, 110.")
    assert repr(corner).startswith("Corner(7 'Wells', ")
    assert "radius 31.2 m" in repr(corner)
    assert (
        repr(values["Centreline"]) == "Centreline(2,001 positions from (5.00400, 24.00000), closed)"
    )
    assert repr(values["Lap"]) == "Lap(12, flying, 83.217 s, 0 sectors, 50 missed)"
    assert repr(trackkit.Place(chainage_m=412.0)) == "Place(chainage_m=412.000)"
    assert "and 3 more" in repr(values["Comparison"])
    assert repr(values["Build"]).endswith("of 12 laps)")
    assert "2,000 fixes" in repr(values["Drive"])
