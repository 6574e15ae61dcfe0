"""A gate between two surveyed ends: kept as it is, and told how it lies."""

import numpy as np
import pytest
from drives import block_circuit, on_earth, track_of

from trackkit.cli import run
from trackkit.errors import PlaceError
from trackkit.gates.placement import with_gate
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import write_recording
from trackkit.track.file import read_track, write_track
from trackkit.track.places import Place

ROAD = block_circuit()


def ends(chainage_m, degrees, shift_m):
    """Ends of a gate turned from square and shifted to the left, by school geometry."""
    middle, ahead = ROAD.at(float(chainage_m))
    aside = np.array([-ahead[1], ahead[0]])
    angle = np.radians(degrees)
    turned = np.cos(angle) * aside - np.sin(angle) * ahead
    longitude, latitude = on_earth(
        middle + shift_m * aside + np.array([8.0 * turned, -8.0 * turned])
    )
    return tuple(zip(longitude.tolist(), latitude.tolist(), strict=True))


def test_a_surveyed_gate_is_kept_exactly_and_told_how_it_lies():
    track = track_of(ROAD, gates=[("finish", "finish", 0.0)], spacing_m=2.0)
    left, right = ends(600.0, 5.0, 1.5)
    _, gate, said = with_gate(track, "sector", Place(ends=(left, right)))

    assert (gate.left, gate.right, gate.surveyed) == (left, right, True)
    assert any("5.0 degrees off square, its middle 1.5 m to the left" in text for text in said)


def test_two_stationary_recordings_make_a_gate(tmp_path, capsys):
    track = track_of(
        ROAD, gates=[("finish", "finish", 0.0)], spacing_m=2.0, revised="2024-01-01T00:00:00Z"
    )
    path = tmp_path / "t.geojson"
    write_track(track, path)
    files = []
    for name, (longitude, latitude) in zip(("l", "r"), ends(600.0, 0.0, 0.0), strict=True):
        time = np.arange(120.0)
        recording = Recording(name, time, np.full(120, longitude), np.full(120, latitude))
        files.append(str(tmp_path / f"{name}.csv"))
        write_recording(recording, files[-1])

    assert run(["gate", "place", str(path), "sector", "--ends", ",".join(files)]) == 0
    assert "uncertain by" in capsys.readouterr().err
    gate = read_track(path).gates_of_kind("sector")[0]
    assert gate.surveyed
    assert gate.chainage_m == pytest.approx(600.0, abs=0.1)
    assert run(["gate", "place", str(path), "sector"]) == 2

    assert run(["gate", "move", str(path), gate.id, "650m"]) == 0
    assert run(["gate", "move", str(path), gate.id, "--ends", ",".join(files)]) == 0
    assert "degrees off square" in capsys.readouterr().err
    assert read_track(path).gate(gate.id).chainage_m == pytest.approx(600.0, abs=0.1)


def test_two_ends_farther_apart_than_any_gate_is_wide_are_refused():
    track = track_of(ROAD, gates=[("finish", "finish", 0.0)], spacing_m=2.0)
    (left, _), (_, far) = ends(600.0, 0.0, 0.0), ends(600.0, 0.0, -600.0)

    with pytest.raises(PlaceError, match="the two ends are 616 m apart"):
        with_gate(track, "sector", Place(ends=(left, far)))
