"""What a build tells besides its line: the band, the stops, the sources, the reasons."""

from __future__ import annotations

import hashlib
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.building.build import (
    Build,
    _stop_remarks,
    band_driven,
    plane_of,
    source_entries,
    with_reasons,
)
from trackkit.errors import RecordingError
from trackkit.geometry.curve import Curve


def lap(start_s, end_s, stops=()):
    return SimpleNamespace(start_s=start_s, end_s=end_s, path=SimpleNamespace(stops=stops))


@pytest.mark.parametrize(("count", "words"), [(0, "of 0 laps"), (1, "of 1 lap)"), (2, "of 2 laps")])
def test_a_build_in_python_says_of_how_many_laps(count, words):
    assert words in repr(Build("track", count, {}, ()))


@pytest.mark.parametrize(
    ("stops", "words"),
    [
        ([], ()),
        # At its very beginning or end a stop is not on the way.
        ([(10.0, 7.0), (90.0, 7.0), (95.0, 8.0)], ()),
        ([(50.0, 7.4)], ("removed 1 stop on the way (7 s)",)),
        ([(60.0, 9.0), (50.0, 7.4)], ("removed 2 stops on the way (7 s, 9 s)",)),
    ],
)
def test_stops_within_laps_are_told(stops, words):
    assert _stop_remarks(SimpleNamespace(laps=[lap(10.0, 90.0, stops)])) == words


def test_a_stop_on_two_laps_counts_once():
    stops = ((50.0, 7.0),)

    remarks = _stop_remarks(SimpleNamespace(laps=[lap(10.0, 90.0, stops), lap(0.0, 60.0, stops)]))

    assert remarks == ("removed 1 stop on the way (7 s)",)


def test_every_lap_has_why_it_was_not_used_or_nothing():
    used, left_it, other = lap(0.0, 9.0), lap(9.0, 18.0), lap(1234.4, 1300.0)
    fitted = SimpleNamespace(laps=(used,), rejected=((left_it, "it left the line"),))

    assert with_reasons([[used, left_it], [other]], fitted) == (
        (used, ""),
        (left_it, "it left the line"),
        (other, "the lap at 1,234 s is of another layout"),
    )


def test_a_source_is_named_with_its_digest_and_how_many_of_its_laps_were_used(tmp_path):
    path = tmp_path / "monday.csv"
    path.write_bytes(b"fixes")
    laps = [lap(0.0, 9.0), lap(9.0, 18.0), lap(18.0, 27.0)]
    recordings = [SimpleNamespace(name=str(path)), SimpleNamespace(name="nowhere/tuesday.csv")]

    monday, tuesday = source_entries(recordings, [laps, []], {id(laps[0]), id(laps[2])})

    assert monday == {
        "file": "monday.csv",
        "sha256": hashlib.sha256(b"fixes").hexdigest(),
        "laps": 2,
    }
    assert tuesday == {"file": "tuesday.csv", "laps": 0}


def recording_at(longitude, latitude):
    return SimpleNamespace(longitude_deg=np.array(longitude), latitude_deg=np.array(latitude))


def test_a_plane_lies_around_all_recordings_and_across_the_antimeridian():
    plane = plane_of([recording_at([179.99], [-27.0]), recording_at([-179.97], [-27.02])])

    assert plane.longitude_deg % 360.0 == pytest.approx(180.01, abs=1e-6)
    assert plane.latitude_deg == pytest.approx(-27.01, abs=1e-6)


def test_recordings_of_two_places_are_of_no_one_circuit():
    with pytest.raises(RecordingError, match="the recordings lie across"):
        plane_of([recording_at([161.0], [47.0]), recording_at([161.0], [-41.0])])


def fitted_on_circle(offset, weight):
    angle = np.linspace(0.0, 2 * np.pi, 100, endpoint=False)
    curve = Curve.through(100.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)
    chainage = curve.chainages(5.0)
    offset = np.asarray(offset, float)[:, None] + 0.0 * chainage
    return SimpleNamespace(
        laps=range(len(offset)),
        curve=curve,
        chainage_m=chainage,
        offset_m=offset,
        weight=np.asarray(weight, float)[:, None] + 0.0 * chainage,
    )


class Flat:
    """A plane whose degrees are its metres."""

    @staticmethod
    def to_plane(longitude, latitude):
        return np.array([longitude, latitude])


def track_on(curve, begin_m):
    first = curve.position(begin_m)
    return SimpleNamespace(
        closed=True,
        curve=curve,
        centreline=SimpleNamespace(longitude_deg=[first[0], 0.0], latitude_deg=[first[1], 0.0]),
    )


@pytest.mark.parametrize(
    ("offsets", "weights", "left", "right"),
    [
        ([1.5, -0.5, 0.2], [1, 1, 1], 1.5, 0.5),
        ([1.5, -0.5, 0.2], [0, 1, 1], 0.2, 0.5),
        ([1.5, 0.5], [1, 1], 1.5, 0.0),
        ([-1.5, -0.5], [1, 1], 0.0, 1.5),
    ],
)
def test_the_band_is_how_far_the_laps_that_count_ran_to_either_side(offsets, weights, left, right):
    fitted = fitted_on_circle(offsets, weights)

    band = np.array(band_driven(fitted, track_on(fitted.curve, 0.0), Flat))

    assert band[:, 1] == pytest.approx(left)
    assert band[:, 2] == pytest.approx(right)
    assert np.diff(band[:, 0]) == pytest.approx(10.0, abs=0.5)


def test_the_band_counts_from_where_the_track_begins():
    fitted = fitted_on_circle([0.0, 0.0], [1, 1])
    # To the left by a tenth of a metre for every metre from 200 m on.
    fitted.offset_m[0] = np.clip(0.1 * (fitted.chainage_m - 200.0), 0.0, None)

    band = np.array(band_driven(fitted, track_on(fitted.curve, 150.0), Flat))

    assert np.interp(40.0, band[:, 0], band[:, 1]) == pytest.approx(0.0, abs=0.3)
    assert np.interp(150.0, band[:, 0], band[:, 1]) == pytest.approx(10.0, abs=0.3)


def test_one_lap_has_no_band():
    fitted = fitted_on_circle([1.0], [1])

    assert band_driven(fitted, track_on(fitted.curve, 0.0), Flat) == ()
