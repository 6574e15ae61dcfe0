"""``trackkit map``: the picture follows the file's name; tiles are named, and credited."""

import pytest
from paper_tracks import SAMPLES, track_named

from trackkit.caution import TILES_PRIVACY
from trackkit.cli import run
from trackkit.track.file import write_track


@pytest.mark.slow
def test_the_command_takes_the_picture_from_the_suffix(tmp_path, capsys):
    plain = tmp_path / "plain.geojson"
    write_track(track_named("without gates"), plain)
    for suffix, magic in ((".svg", b"<?xml"), (".pdf", b"%PDF"), (".PNG", b"\x89PNG")):
        path = tmp_path / f"track{suffix}"
        assert run(["map", str(plain), "-o", str(path)]) == 0
        assert path.read_bytes().startswith(magic)
        assert capsys.readouterr().out == f"wrote {path}\n"


def test_another_suffix_gets_one_sentence(tmp_path, capsys):
    assert run(["map", str(SAMPLES[0]), "-o", str(tmp_path / "track.gif")]) == 1
    said = capsys.readouterr().err

    assert "ends in none of .html, .svg, .pdf, .png" in said
    assert list(tmp_path.iterdir()) == []


TILES = ("--tiles", "https://tiles.example.org/{z}/{x}/{y}.png")
CREDIT = ("--credit", "Pictures: nobody")


def test_tiles_are_not_for_paper(tmp_path, capsys):
    path = str(tmp_path / "track.svg")
    assert run(["map", str(SAMPLES[0]), *TILES, *CREDIT, "-o", path]) == 2
    assert "--tiles" in capsys.readouterr().err


@pytest.mark.parametrize("given", [TILES, CREDIT])
def test_tiles_and_credit_go_together(given, tmp_path, capsys):
    path = tmp_path / "track.html"
    assert run(["map", str(SAMPLES[0]), *given, "-o", str(path)]) == 2
    assert "--tiles URL and --credit TEXT go together" in capsys.readouterr().err
    assert not path.exists()


def test_an_address_of_no_tiles_gets_one_sentence(tmp_path, capsys):
    path = tmp_path / "track.html"
    assert run(["map", str(SAMPLES[0]), "--tiles", "street", *CREDIT, "-o", str(path)]) == 2
    said = capsys.readouterr().err
    assert "'street' is no address of a host" in said
    assert "give one such as https://" in said
    assert not path.exists()


def test_a_page_with_tiles_is_written_and_what_their_server_learns_is_said(tmp_path, capsys):
    path = tmp_path / "track.html"
    assert run(["map", str(SAMPLES[0]), *TILES, *CREDIT, "-o", str(path)]) == 0
    said = capsys.readouterr()
    assert said.out == f"wrote {path}\n"
    assert said.err == (
        "the page asks tiles.example.org for pictures whenever it is opened. "
        + TILES_PRIVACY
        + "\n"
    )
    assert "img-src data: https://tiles.example.org;" in path.read_text("utf-8")
