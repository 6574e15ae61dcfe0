"""``trackkit locate -``: fixes from standard input as they come."""

import json
import os
import subprocess
import sys
import threading

import pytest
from long_and_short import LAYOUTS

from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

pytestmark = pytest.mark.usefixtures("home")


def stream(library, *words):
    return subprocess.Popen(
        [sys.executable, "-m", "trackkit", "locate", "-", "--library", str(library), *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=dict(os.environ),
    )


@pytest.mark.slow
def test_a_stream_is_answered_before_it_ends(library, session):
    # Like a serial device: written bit by bit and never closed until the answer has come.
    process = stream(library)
    lines = session.read_bytes().splitlines(keepends=True)
    said = []

    def listen():
        for line in process.stdout:
            said.append(line.decode())
            if "at Invented (Long)" in said[-1]:
                break

    listener = threading.Thread(target=listen)
    listener.start()
    process.stdin.write(b"".join(lines))
    process.stdin.flush()
    listener.join(timeout=60)
    still_running = process.poll() is None
    process.communicate()

    assert still_running
    assert said[0].startswith("fix 1: at one of ")
    assert any("still open between" in line and "they part at" in line for line in said)
    assert "[long]" in said[-1]


@pytest.mark.slow
def test_a_stream_changes_its_mind(library, session):
    short = simulate_drive(LAYOUTS["short"], laps=1, rate_hz=5).recording
    other = session.with_name("short.nmea")
    write_recording(short, other)

    out, _ = stream(library).communicate(session.read_bytes() + other.read_bytes(), timeout=60)

    answers = [line for line in out.decode().splitlines() if ": at Invented" in line]
    assert "[long]" in answers[0]
    assert "[short]" in answers[-1]


@pytest.mark.slow
def test_a_stream_in_json_is_one_document_at_its_end(library, session):
    out, err = stream(library, "--json").communicate(session.read_bytes(), timeout=60)
    found = json.loads(out)
    assert err == b""
    assert found["settled"] == "long"
    assert found["answer"] == "at"
    assert found["candidates"][0]["id"] == "long"
    assert found["answers"][-1]["settled"]


@pytest.mark.slow
def test_a_stream_without_a_fix_is_said(library):
    process = stream(library)
    out, err = process.communicate(b"hello\n", timeout=60)
    assert process.returncode == 1
    assert out == b""
    assert b"standard input: holds no fix" in err
