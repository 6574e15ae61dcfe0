"""``trackkit library list``: what is listed, and what is warned of."""

import json

import pytest
from drives import block_circuit, hill_course
from library_files import listed, track_file

from trackkit.cli import run
from trackkit.library.folders import ENVIRONMENT_VARIABLE


@pytest.fixture(autouse=True)
def home(monkeypatch, tmp_path):
    """A machine with no other libraries, where nothing of the user's is touched."""
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr("trackkit.library.folders.shipped_folder", lambda: tmp_path / "shipped")
    monkeypatch.setattr("trackkit.library.manage.shipped_folder", lambda: tmp_path / "shipped")
    (tmp_path / "shipped").mkdir()
    return tmp_path


@pytest.fixture
def three(home, capsys):
    track_file(home / "mine", "oakring", name="Oak Ring", country="XQ", at=(161.0, 47.0))
    track_file(
        home / "mine",
        "elm-hill",
        name="Elm Hill",
        layout="Long",
        at=(161.5, 47.0),
        road=hill_course(),
        country="XA",
    )
    track_file(home / "mine", "ash", name="Ash", at=(-170.0, -40.0), road=block_circuit())
    return ("--library", str(home / "mine"))


def test_everything_is_listed_by_id(three, capsys):
    assert listed(capsys, *three) == ["ash", "elm-hill", "oakring"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--country", "xq"), ["oakring"]),
        (("--country", "XX"), []),
        (("--name", "ring"), ["oakring"]),
        (("--name", "LONG"), ["elm-hill"]),
        (("--near", "-40", "190"), ["ash", "oakring", "elm-hill"]),
        (("--near", "47", "161.5", "--within", "60"), ["elm-hill", "oakring"]),
        (("--near", "47", "161.5", "--within", "10"), ["elm-hill"]),
        (("--near", "47", "161.5", "--within", "60", "--country", "XQ"), ["oakring"]),
    ],
)
def test_a_list_can_be_narrowed(three, capsys, words, expected):
    found = listed(capsys, *three, *words)
    if "190" in words:
        # The two others are 18,000 km away; which is nearer is not the point here.
        found, expected = found[:1], expected[:1]
    assert found == expected


@pytest.mark.parametrize(
    "words", [("--within", "5"), ("--near", "95", "3"), ("--near", "there", "3")]
)
def test_a_place_that_is_none_is_a_fault_of_the_command_line(three, words):
    assert run(["library", "list", *three, *words]) == 2


def test_an_empty_list_is_said_in_words(three, capsys):
    assert run(["library", "list", *three, "--name", "birch"]) == 0
    assert "no known circuit" in capsys.readouterr().out


def test_broken_files_are_warned_of_once_each_and_the_others_listed(three, home, capsys):
    (home / "mine" / "bad.geojson").write_text("{", "utf-8")
    (home / "mine" / "worse.geojson").write_bytes(b"\xff\xfe")

    for _ in range(2):  # read anew, then from the index
        assert run(["library", "list", *three, "--json"]) == 0
        said = capsys.readouterr()
        assert len(json.loads(said.out)["tracks"]) == 3
        assert said.err.count("bad.geojson") == 1
        assert said.err.count("worse.geojson") == 1
        assert len(said.err.splitlines()) == 2


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_where_a_library_was_to_be_made_is_told_in_one_sentence(home, capsys, below):
    (home / "taken").write_text("mine")
    track = track_file(home / "new", "oakring", name="Oak Ring", at=(161.0, 47.0))
    capsys.readouterr()

    assert run(["library", "add", str(track), "--library", str(home / "taken" / below)]) == 1

    (sentence,) = capsys.readouterr().err.splitlines()
    assert sentence.startswith(f"trackkit: {home / 'taken' / below}: cannot be made a folder (")
    assert (home / "taken").read_text() == "mine"


def test_a_list_with_verdicts_judges_each_circuit_as_describe_does(three, capsys):
    assert run(["library", "list", *three, "--verdict", "--json"]) == 0
    tracks = json.loads(capsys.readouterr().out)["tracks"]

    assert len(tracks) == 3
    for track in tracks:
        assert run(["describe", track["file"], "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["verdict"] == track["verdict"]


def test_a_list_with_verdicts_says_in_words_which_circuits_are_fit(three, capsys, monkeypatch):
    def judged(path):
        return "elm-hill is broken" if "elm" in path else {"fit": "oak" in path}

    monkeypatch.setattr("trackkit.cli.library._judged", judged)

    # A file that cannot be judged is said and the others are listed, as with any files.
    assert run(["library", "list", *three, "--verdict"]) == 1
    printed = capsys.readouterr()

    (heading,) = [row for row in printed.out.splitlines() if "direction" in row]
    assert heading.rstrip().endswith("fit to hand on")
    shown = {row.split()[0]: row.rstrip() for row in printed.out.splitlines() if row.strip()}
    assert shown["ash"].endswith("not fit")
    assert shown["oakring"].endswith(" fit")
    assert not shown["oakring"].endswith("not fit")
    assert shown["elm-hill"].endswith("-")
    assert "elm-hill is broken" in printed.err


def test_a_list_without_verdicts_judges_nothing(three, capsys, monkeypatch):
    monkeypatch.setattr("trackkit.cli.library._judged", pytest.fail)

    assert run(["library", "list", *three, "--json"]) == 0
    assert all("verdict" not in row for row in json.loads(capsys.readouterr().out)["tracks"])
