"""Frames of a track's features, and its geo interface: what the file says."""

from __future__ import annotations

import geopandas
import pytest
import shapely
from sample_circuits import document_of, every_track, track_of

import trackkit


@every_track
def test_frames_hold_the_features_of_the_file_with_their_attributes(name):
    frames = trackkit.to_frames(track_of(name))

    roles = {
        "centreline": "centreline",
        "gates": "gate",
        "corners": "corner",
        "pit-lane": "pit-lane",
    }
    assert list(frames) == list(roles)
    for key, frame in frames.items():
        features = [
            f for f in document_of(name)["features"] if f["properties"]["role"] == roles[key]
        ]
        assert frame.crs.to_epsg() == 4326
        assert frame["id"].tolist() == [feature["id"] for feature in features]
        for feature, (_, row) in zip(features, frame.iterrows(), strict=True):
            assert row.geometry.equals_exact(shapely.geometry.shape(feature["geometry"]), 1e-7)
            for prop, value in feature["properties"].items():
                if prop != "role" and value is not None:
                    same = row[prop] == value
                    assert same if isinstance(same, bool) else value == pytest.approx(row[prop])
        assert frame.attrs["track"]["id"] == name


def test_geopandas_and_shapely_read_a_track_as_it_is():
    track = track_of("pipwick-kart-circuit")

    frame = geopandas.GeoDataFrame.from_features(track.__geo_interface__, crs="EPSG:4326")

    assert len(frame) == len(document_of("pipwick-kart-circuit")["features"])
    assert track.__geo_interface__["track"]["id"] == track.id


def test_frames_of_several_tracks_go_below_one_another():
    import pandas as pd

    names = ("pipwick-kart-circuit", "gullhatch-oval")
    gates = pd.concat([trackkit.to_frames(track_of(name))["gates"] for name in names])

    assert set(gates["track"]) == set(names)
    assert gates.crs.to_epsg() == 4326
