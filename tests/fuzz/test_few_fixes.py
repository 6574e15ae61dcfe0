"""Whatever a recording of a few fixes holds, every command that takes one survives it."""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzz.documents import Document
from fuzz.fixes import SEA, clock, ring, sentence, table
from fuzz.limits import limited_time
from fuzz.targets import commands_of, judge, lay_out, named, run_here

MOST_FIXES = 40
DEGREES_AWAY = (0.0, 1e-6, 1e-4, 1e-3, 1e-2, 5.0, 90.0)


@pytest.fixture(autouse=True)
def at_home(tmp_path, monkeypatch):
    """Let no run touch the library, the cache or the settings of whoever runs the tests."""
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)


@st.composite
def recordings(draw):
    """Draw 0 to 40 fixes round a circle, some astray, in time evenly or not, in three formats."""
    count = draw(st.integers(0, MOST_FIXES))
    places = ring(count, draw(st.sampled_from((0.0, 5.0, 60.0, 300.0))))
    for _ in range(draw(st.integers(0, 3)) if count else 0):
        at = draw(st.integers(0, count - 1))
        east, north = (draw(st.sampled_from(DEGREES_AWAY)) for _ in range(2))
        places[at] = (places[at][0] + east, places[at][1] + min(north, 46.0))
    step = draw(st.sampled_from((1e-3, 0.04, 0.1, 1.0, 5.0, 60.0, 3600.0)))
    steps = draw(
        st.lists(st.sampled_from((step, step, 10.0 * step)), min_size=count, max_size=count)
    )
    seconds = [sum(steps[:n]) % 50_000.0 for n in range(count)]
    speed = draw(st.sampled_from((None, 0.0, 12.5, 149.0)))
    form = draw(st.sampled_from(("csv", "gpx", "nmea")))
    fixes = list(zip(seconds, places, strict=True))
    if form == "nmea":
        text = "".join(sentence(s, x, y, speed) for s, (x, y) in fixes)
    elif form == "gpx":
        points = "".join(
            f'<trkpt lat="{y!r}" lon="{x!r}"><time>{clock(s)}</time></trkpt>\n'
            for s, (x, y) in fixes
        )
        text = f'<gpx version="1.1"><trk><trkseg>\n{points}</trkseg></trk></gpx>'
    else:
        rows = [(s, y, x, "" if speed is None else speed) for s, (x, y) in fixes]
        text = table(rows, "time_s,latitude,longitude,speed_mps")
    return Document("recording", f"few.{form}", text.encode(), f"{count} fixes near {SEA}")


@pytest.mark.slow
@pytest.mark.parametrize("command", commands_of("recording"))
@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(document=recordings())
def test_a_recording_of_a_few_fixes_is_timed_or_refused_in_a_sentence(command, document):
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        lay_out(Path(folder), document)
        words = named(command, document)
        with limited_time():
            outcome = run_here(words, document)
        judge(outcome, words)
