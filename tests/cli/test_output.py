"""``trackkit map`` on paper: the picture follows the file's name."""

from paper_tracks import SAMPLES, track_named

from trackkit.cli import run
from trackkit.track.file import write_track


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


def test_tiles_are_not_for_paper(tmp_path, capsys):
    path = str(tmp_path / "track.svg")
    assert run(["map", str(SAMPLES[0]), "--tiles", "street", "-o", path]) == 2
    assert "--tiles" in capsys.readouterr().err
