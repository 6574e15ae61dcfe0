"""Exports that programs which are not ours have read and written, back as the track they were.

Readers and writers: GDAL's ogr2ogr, geopandas with pyogrio, fiona, fastkml, gpxpy, pandas.  The
suite takes the track that has everything through all of them, and each sample through some; all
samples through all are in tests/bench/bench_round_trips.py.
"""

from __future__ import annotations

import pytest
from nasty_track import nasty_track
from round_trips import ROUND_TRIPS, as_file
from sample_circuits import IDS, track_of

from trackkit.importing.import_track import import_track

_EVERY = sorted(ROUND_TRIPS)
SOME = [
    (name, _EVERY[index])
    for number, name in enumerate(IDS)
    for index in (number, (number + 7) % 15)
]


@pytest.mark.slow
@pytest.mark.parametrize("way", _EVERY)
def test_a_track_with_everything_comes_back_onto_itself_to_the_last_letter(way, tmp_path):
    track = nasty_track()

    imported = import_track(ROUND_TRIPS[way](track, tmp_path), onto=track)

    assert imported.moved.lines() == ["nothing differs"]
    assert as_file(imported.track) == as_file(track)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "way"), SOME)
def test_a_sample_comes_back_onto_itself_to_the_last_letter(name, way, tmp_path):
    track = track_of(name)

    imported = import_track(ROUND_TRIPS[way](track, tmp_path), onto=track)

    assert as_file(imported.track) == as_file(track)
