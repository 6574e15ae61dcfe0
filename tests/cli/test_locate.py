"""``trackkit locate`` with drives from files."""

import csv
import io
import json

import pytest
from long_and_short import LAYOUTS

from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

pytestmark = pytest.mark.usefixtures("home")


def test_a_recording_is_at_the_layout_that_was_driven(library, session, capsys):
    assert run(["locate", str(session), "--library", str(library), "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["recordings"]
    first = found["candidates"][0]
    assert found["answer"] == "at"
    assert (first["id"], first["direction"], first["reversed"]) == ("long", "anticlockwise", False)
    assert first["probability"] > 0.95
    assert first["distance_m"] < 10.0

    assert run(["locate", str(session), "--library", str(library)]) == 0
    assert "at Invented (Long), anticlockwise" in capsys.readouterr().out


def test_csv_has_a_line_for_each_recording_in_the_order_given(library, session, capsys):
    other = session.with_name("other.csv")
    write_recording(simulate_drive(LAYOUTS["short"], laps=1, rate_hz=2).recording, other)
    assert run(["locate", str(other), str(session), "--library", str(library), "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [(row["file"], row["answer"], row["id"]) for row in rows] == [
        (str(other), "at", "short"),
        (str(session), "at", "long"),
    ]


@pytest.mark.parametrize(
    "words", [["--csv", "--json", "a.gpx"], ["--csv", "47", "161"], ["--csv", "-"]]
)
def test_csv_where_it_makes_no_sense_is_a_fault_of_the_command_line(words):
    assert run(["locate", *words]) == 2
