"""A frame of gate crossings: places on the gates, and sigmas that agree with laps and traces."""

from __future__ import annotations

import numpy as np
import pytest
from sample_circuits import track_of

import trackkit
from trackkit.geometry.geodesy import WGS84
from trackkit.timing.trace_columns import trace_columns
from trackkit.track.features import Gate

ATOLL = track_of("saltpenny-atoll-clockwise")


@pytest.fixture(scope="module")
def drive():
    return trackkit.simulate_drive(ATOLL, laps=2, rate_hz=5.0, seed=31)


@pytest.fixture(scope="module")
def report(drive):
    return trackkit.time_laps(ATOLL, drive.recording.renamed("atoll.csv"))


@pytest.fixture(scope="module")
def frame(report):
    return trackkit.crossings_frame(report, drivers={"atoll.csv": "Ada"})


def test_each_crossing_has_one_row_with_the_lap_that_it_ends_or_is_in(report, frame):
    assert frame["time_s"].tolist() == [crossing.time_s for crossing in report.crossings]
    assert frame["gate"].tolist() == [crossing.gate for crossing in report.crossings]
    rows = frame.set_index(["lap", "gate"])
    for lap in report.counted:
        ends = rows.loc[(lap.number, "finish")]
        assert ends["elapsed_s"] == lap.time_s
        assert ends["elapsed_sigma_s"] == lap.sigma_s
        assert ends["kind"] == "flying"
        splits = [rows.loc[(lap.number, crossing.gate), "elapsed_s"] for crossing in lap.passed[1:]]
        assert splits == [sector.split_s for sector in lap.sectors]
    assert set(frame["driver"]) == {"Ada"}


def test_an_out_lap_has_no_elapsed_time(frame):
    out = frame[frame["lap"] == 0]
    assert len(out) == 3
    assert set(out["kind"]) == {"out"}
    assert out["elapsed_s"].isna().all()
    assert out["elapsed_sigma_s"].isna().all()


def test_places_lie_on_the_geodesic_between_the_ends_of_the_gate(frame):
    for _, row in frame.iterrows():
        gate = ATOLL.gate(row["gate"])
        place = row["longitude_deg"], row["latitude_deg"]
        _, _, from_left = WGS84.inv(*gate.left, *place)
        _, _, from_right = WGS84.inv(*gate.right, *place)
        assert from_left + from_right == pytest.approx(gate.width_m, abs=1e-3)
        assert -180.0 <= row["longitude_deg"] <= 180.0


def test_chainage_and_offset_are_those_of_the_place_beside_the_line(frame):
    place = ATOLL.plane.to_plane(frame["longitude_deg"], frame["latitude_deg"])
    chainage, offset = ATOLL.curve.project(place)
    apart = ATOLL.curve.separation(chainage, frame["chainage_m"])
    assert np.max(apart) < 1e-3
    assert offset == pytest.approx(frame["offset_m"].to_numpy(), abs=1e-4)
    # Just before the datum a place is a little below 0, not a whole lap on.
    assert frame.loc[frame["gate"] == "finish", "chainage_m"].abs().max() < 0.5


def test_speeds_and_sigmas_are_those_of_the_traces_at_a_gate_square_to_the_track(report, frame):
    same = ["elapsed_sigma_s", "speed_mps", "speed_sigma_mps", "offset_sigma_m"]
    same += ["longitudinal_mps2", "lateral_mps2", "longitudinal_sigma_mps2", "lateral_sigma_mps2"]
    lap = report.counted[0]
    ((_, trace),) = trace_columns(ATOLL, report.drive, [lap])
    for crossing in lap.passed[1:3]:
        row = frame[(frame["lap"] == lap.number) & (frame["gate"] == crossing.gate)].iloc[0]
        for name in same:
            at_gate = np.interp(row["chainage_m"], trace["chainage_m"], trace[name])
            assert row[name] == pytest.approx(at_gate, rel=0.02, abs=0.02), name


@pytest.mark.slow
def test_the_truth_is_within_the_sigmas():
    """Of many crossings about two thirds lie within one sigma, and nearly all within three."""
    offs = []
    for seed in range(6):
        drive = trackkit.simulate_drive(ATOLL, laps=1, rate_hz=5.0, seed=100 + seed)
        frame = trackkit.crossings_frame(trackkit.time_laps(ATOLL, drive.recording))
        true = {lap["number"]: lap["time_s"] for lap in drive.truth["laps"]}
        ends = frame[(frame["gate"] == "finish") & (frame["lap"] == 1)].iloc[0]
        offs.append((ends["elapsed_s"] - true[1]) / ends["elapsed_sigma_s"])
    assert np.max(np.abs(offs)) < 4.0
    assert np.sqrt(np.mean(np.square(offs))) < 2.0


def test_what_is_not_known_across_an_oblique_gate_is_seen_square_to_the_line(drive):
    """A gate at 45 degrees: later or earlier, the vehicle is as far off the line."""
    middle_m, half_m = 500.0, 14.0
    curve = ATOLL.curve
    ahead, left = curve.direction(middle_m), curve.left(middle_m)
    square = curve.position(middle_m) + np.array([[half_m], [-half_m]]) * left
    oblique = curve.position(middle_m) + np.array([[half_m], [-half_m]]) * (left + ahead)

    def crossed(ends):
        places = np.column_stack(ATOLL.plane.to_geographic(ends)).tolist()
        gate = Gate("speed-1", "speed", "Slanted", *map(tuple, places), chainage_m=middle_m)
        report = trackkit.time_laps(ATOLL.with_gates([*ATOLL.gates, gate]), drive.recording)
        frame = trackkit.crossings_frame(report)
        return frame[frame["gate"] == "speed-1"].iloc[0]

    straight, slanted = crossed(square), crossed(oblique)
    assert slanted["offset_sigma_m"] == pytest.approx(straight["offset_sigma_m"], rel=0.02)
    assert slanted["gate_kind"] == "speed"
    assert slanted["offset_m"] == pytest.approx(straight["offset_m"], abs=0.5)


def test_no_report_gives_an_empty_frame_of_the_same_columns(frame):
    empty = trackkit.crossings_frame([])
    assert len(empty) == 0
    assert [str(kind) for kind in empty.dtypes] == [str(kind) for kind in frame.dtypes]
