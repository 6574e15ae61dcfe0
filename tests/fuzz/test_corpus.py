"""The smallest input of each fault that the campaign found, and what must come of it now."""

from __future__ import annotations

from pathlib import Path

import pytest

from fuzz.cases import Case, case, run_case
from fuzz.documents import Document
from fuzz.limits import limited_time
from fuzz.seeds import seeds_of
from fuzz.shrink import shrunk
from fuzz.targets import judge, lay_out, run_here

CORPUS = Path(__file__).parent / "corpus"
BUILD = "build {} --name Sea -o out.geojson"
LINE = "build --from-line {} --name Sea -o out.geojson"
OFFICIAL = "laps home.geojson home.csv --official {}"
EXPECTED = {
    "a-quarter-round-the-earth.csv": (
        "laps home.geojson {}",
        0,
        "no gate was crossed: the recording may be of another circuit",
    ),
    "a-hundred-and-one-gates.geojson": (
        "describe {}",
        1,
        "more than the 100 that trackkit takes on; raise the limit with trackkit --limits gates=",
    ),
    "circuit-of-12000-km.geojson": (
        "describe {}",
        1,
        "feature centreline: has 12,363,198 m, more than the 300,000 that trackkit takes on",
    ),
    "course-of-centimetres-with-a-spike.geojson": (
        f"{LINE} --open --crs EPSG:25832",
        0,
        "Sea: 118",
    ),
    "drawn-a-hundred-times-over.kml": (f"{LINE} --open", 0, "Sea: "),
    # GDAL gives a ring without positions as no shape, or as one that GEOS does not read.
    "empty-ring.kml": (LINE, 1, ("its KML cannot be read", "holds no line")),
    "endless-lap-time.csv": (OFFICIAL, 1, "is no time; write 1:02.345"),
    "endless-time-of-day.csv": (OFFICIAL, 1, "is no "),
    "forty-million-years.csv": (BUILD, 1, "lasts 31,688,088 years: what is read as its times"),
    "forty-one-columns-of-one-name.csv": (
        BUILD,
        1,
        "41 columns could be the longitude: 'longitude', 'longitude'",
    ),
    "gate-in-another-ocean.geojson": (
        "describe {}",
        1,
        "feature far: lies, with the line, across",
    ),
    "lap-in-nanoseconds.csv": (BUILD, 1, "its times are not those of its positions"),
    "many-columns.csv": (BUILD, 1, "holds a row of 1,004 columns, more than the 1,000"),
    "one-line-of-commas.csv.gz": (BUILD, 1, "holds a line of 70,000 characters, more than the 65,"),
    "packed-commas.csv.gz": (BUILD, 1, "its gzip unpacks to 1,028 times, more than the 100"),
    "role-is-a-list.geojson": ("check {}", 0, "nothing found"),
    "round-the-world.geojson": (LINE, 1, "has a line of 40,075,017 m, more than the 300,000"),
    "tabs-in-coordinates.kml": (LINE, 0, "Sea: 8"),
    "thirty-years-and-a-blink.csv": (BUILD, 1, "the receiver never moves in this recording"),
    "twelve-fixes-one-astray.gpx": (BUILD, 1, "holds no whole lap"),
    "two-drives-mixed.csv": (BUILD, 1, "leads to and fro between places 83 m apart, fix by fix"),
    "two-oceans.csv": (BUILD, 1, "more than the 1,000,000 that trackkit takes on; split it where"),
    "year-1-east.csv": (BUILD, 1, "holds nothing readable as a time, only such as '0001-01-01"),
    "year-9999-west.gpx": (BUILD, 1, "holds positions but no times"),
    "zone-of-99-hours.csv": (BUILD, 1, "holds nothing readable as a time"),
    "zone-of-99-hours.gpx": (BUILD, 1, "holds positions but no times"),
}


def test_every_file_of_the_corpus_is_expected_to_do_something():
    assert sorted(EXPECTED) == sorted(path.name for path in CORPUS.iterdir())


@pytest.mark.slow
@pytest.mark.parametrize("name", EXPECTED)
def test_what_once_was_a_fault_is_told_in_a_sentence(name, tmp_path, monkeypatch):
    template, status, words = EXPECTED[name]
    document = Document("recording", name, (CORPUS / name).read_bytes(), "")
    lay_out(tmp_path, document)
    monkeypatch.chdir(tmp_path)
    command = template.format(name).split()
    with limited_time():
        outcome = run_here(command, document)
    judge(outcome, command)
    assert outcome.status == status
    wordings = (words,) if isinstance(words, str) else words
    assert any(wording in outcome.remarks + outcome.printed for wording in wordings)
    assert status == 0 or not Path("out.geojson").exists()


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["recording", "line", "drawing", "track", "official"])
def test_a_valid_file_is_no_fault(kind):
    faults = [run_case(Case(1, n, seeds_of(kind)[0], "library")).fault for n in range(5)]
    assert faults == [None] * 5


def test_a_case_is_told_by_its_two_numbers():
    assert case(3, 14) == case(3, 14)
    assert case(3, 14).document != case(4, 14).document


def test_an_input_is_made_smaller_while_it_fails():
    data = b"\n".join(b"%d,%d" % (n, n * n) for n in range(200))
    assert shrunk(data, lambda some: b"9801" in some, seconds=20.0) == b"9801"
