"""Reading a recording takes memory in proportion to the file, whatever its format."""

import subprocess
import sys
from datetime import UTC, datetime

import numpy as np
import pytest

from trackkit.recordings.recording import Recording
from trackkit.recordings.write import encoded

FIXES = 40_000
ALLOWED_TIMES = 12
_READ = """
import re, sys
from pathlib import Path
from trackkit import read_recording
import trackkit.recordings.clean, lxml.etree

def peak():
    return 1024 * int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])

# Begin to measure the peak anew (proc(5)): until then it is that of the process that started this.
Path("/proc/self/clear_refs").write_text("5")
before = peak()
recording = read_recording(sys.argv[1])
columns = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
kept = sum(getattr(recording, name).nbytes for name in columns)
print(len(recording), peak() - before - kept)
"""


@pytest.fixture(scope="module")
def drive():
    """Half an hour at 25 Hz round a circle at sea."""
    time = np.round(0.04 * np.arange(FIXES), 3)
    angle = 0.15 * time
    return Recording(
        "drive",
        time,
        -128.0 + 0.001 * np.cos(angle),
        43.0 + 0.0007 * np.sin(angle),
        start=datetime(2024, 5, 4, 9, tzinfo=UTC),
        speed_mps=np.full(FIXES, 12.0),
        course_deg=np.degrees(-angle) % 360.0,
    )


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="there is no /proc elsewhere")
@pytest.mark.parametrize("name", ["drive.csv", "drive.gpx", "drive.nmea"])
def test_reading_takes_no_more_than_the_result_and_twelve_times_the_file(name, drive, tmp_path):
    path = tmp_path / name
    path.write_bytes(encoded(drive, name))
    done = subprocess.run(
        [sys.executable, "-c", _READ, str(path)], capture_output=True, text=True, check=True
    )
    read, more_bytes = (int(number) for number in done.stdout.split())

    assert read == FIXES
    assert more_bytes <= ALLOWED_TIMES * path.stat().st_size
