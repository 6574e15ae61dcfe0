"""``trackkit locate`` with many recordings."""

import json

import pytest

from trackkit.cli import run

pytestmark = pytest.mark.usefixtures("home")


@pytest.mark.slow
def test_many_recordings_are_shared_among_processes_and_a_bad_one_stops_none(
    library, session, capsys
):
    paths = []
    for number in range(11):
        path = session.with_name(f"copy-{number}.nmea")
        path.write_bytes(b"no recording" if number == 5 else session.read_bytes())
        paths.append(str(path))

    assert run(["locate", *paths, "--library", str(library), "--json"]) == 1

    said = capsys.readouterr()
    found = json.loads(said.out)["recordings"]
    assert [row["file"] for row in found] == [*paths[:5], *paths[6:]]
    assert {row["candidates"][0]["id"] for row in found} == {"long"}
    assert said.err.count("copy-5.nmea") == 1


@pytest.mark.slow
def test_a_broken_track_file_is_warned_of_once_however_many_recordings(library, session, capsys):
    (library / "bad.geojson").write_text("{", "utf-8")
    assert run(["locate", *[str(session)] * 9, "--library", str(library), "--csv"]) == 0
    said = capsys.readouterr()
    assert said.err.count("bad.geojson") == 1
    assert len(said.out.splitlines()) == 10
