"""Standard output that is full, closed or of few letters: a sentence, a status, nothing untold.

Devices and closed descriptors are those of POSIX.1-2017 and Linux (full(4)).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from checkout import TRACKS

from trackkit.gates.edit import rename_gate
from trackkit.track.file import read_track, write_track

SAMPLE = TRACKS / "pipwick-kart-circuit.geojson"
FULL = Path("/dev/full")

pytestmark = pytest.mark.skipif(not FULL.exists(), reason="needs the device /dev/full")


@pytest.fixture
def track(tmp_path: Path) -> Path:
    return Path(shutil.copy(SAMPLE, tmp_path / "circuit.geojson"))


@pytest.fixture(params=["buffered", "unbuffered"])
def environment(request: pytest.FixtureRequest) -> dict[str, str]:
    """What Python is run with; unbuffered, a write fails at once, else when it is flushed."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHONUNBUF")}
    return kept | ({"PYTHONUNBUFFERED": "1"} if request.param == "unbuffered" else {})


def shell(line: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Run a line of the shell in which TRACKKIT stands for the command."""
    words = f"{sys.executable} -m trackkit"
    return subprocess.run(
        ["sh", "-c", line.replace("TRACKKIT", words)],
        capture_output=True,
        encoding=environment.get("PYTHONIOENCODING", "utf-8"),
        env=environment,
        check=False,
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "arguments",
    ["--help", "--version", f"describe {SAMPLE}", f"gate list {SAMPLE} --json"],
)
def test_a_full_disk_is_one_sentence_and_status_1(arguments, environment):
    done = shell(f"TRACKKIT {arguments} > {FULL}", environment)

    assert done.returncode == 1
    assert done.stderr.splitlines()[-1] == (
        "trackkit: standard output cannot be written (No space left on device)"
    )
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_closed_standard_output_is_one_sentence_and_status_1(environment):
    done = shell(f"TRACKKIT describe {SAMPLE} >&-", environment)

    assert done.returncode == 1
    assert done.stderr == "trackkit: standard output is closed\n"


@pytest.mark.slow
@pytest.mark.parametrize("where", [f"> {FULL}", ">&-"])
def test_a_change_made_before_standard_output_failed_is_told(where, track, environment):
    done = shell(f"TRACKKIT gate place {track} sector 700m --name Spur {where}", environment)

    assert done.returncode == 1
    assert done.stderr.splitlines()[-1].endswith(f"; written before that: {track}")
    assert "Spur" in track.read_text("utf-8")


@pytest.mark.slow
def test_standard_error_that_cannot_be_written_leaves_the_status(environment):
    assert shell(f"TRACKKIT describe nothing 2> {FULL}", environment).returncode == 1
    assert shell("TRACKKIT describe nothing 2>&-", environment).returncode == 1
    assert shell(f"TRACKKIT describe {SAMPLE} >&- 2>&-", environment).returncode == 1


@pytest.mark.slow
def test_whoever_stops_reading_is_no_error(environment):
    done = shell(f"TRACKKIT gate list {SAMPLE} --json | head -c 1", environment)

    assert done.stdout == "{"
    assert done.stderr == ""


@pytest.fixture(scope="module")
def named_in_czech(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A track with a gate whose name holds letters that few encodings have."""
    path = tmp_path_factory.mktemp("named") / "circuit.geojson"
    track = read_track(SAMPLE)
    write_track(rename_gate(track, track.gates[1].id, "Žlíbek").track, path)
    return path


@pytest.mark.slow
def test_letters_that_the_encoding_lacks_are_written_as_numbers(named_in_czech):
    words = f"TRACKKIT describe {named_in_czech}"
    done = shell(words, {**os.environ, "PYTHONIOENCODING": "latin-1"})

    assert done.returncode == 0
    assert r"\u017dl" in done.stdout


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_json_is_json_in_every_encoding(encoding, named_in_czech):
    words = f"TRACKKIT gate list {named_in_czech} --json"
    done = shell(words, {**os.environ, "PYTHONIOENCODING": encoding})

    assert done.returncode == 0, done.stderr
    assert "Žlíbek" in [gate["name"] for gate in json.loads(done.stdout)["gates"]]
