"""A track on a sheet: all that is drawn, and the file it goes to."""

import os
import subprocess
import sys

import numpy as np
import pytest
import shapely
from drives import block_circuit, drive
from paper_tracks import ALL, SAMPLES, block, two_hundred_metres

from trackkit.errors import OutputError
from trackkit.paper.draw import PNG_DOTS_PER_INCH, Picture, draw, settings, write_paper
from trackkit.track.digest import short_digest

pytestmark = pytest.mark.slow


def written_boxes(picture: Picture) -> list:
    """Boxes of all texts as matplotlib's Agg renderer sets them, millimetres."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    picture.figure.set_dpi(PNG_DOTS_PER_INCH)
    canvas = FigureCanvasAgg(picture.figure)
    with settings():
        renderer = canvas.get_renderer()
        boxes = [text.get_window_extent(renderer) for text in picture.figure.axes[0].texts]
    scale = 25.4 / PNG_DOTS_PER_INCH
    return [shapely.box(*(np.array([b.x0, b.y0, b.x1, b.y1]) * scale)) for b in boxes]


@pytest.mark.parametrize("name", ALL)
def test_no_text_overlaps_another_and_all_are_on_the_sheet(name, pictures):
    picture = pictures(name)
    boxes = written_boxes(picture)
    sheet = picture.sheet

    # Boxes are rounded to pixels of 0.13 mm.
    inner = [box.buffer(-0.15) for box in boxes]
    tree = shapely.STRtree(inner)
    assert tree.query(inner, predicate="intersects").shape[1] == len(inner)
    whole = shapely.box(10.0, 10.0, sheet.width_mm - 10.0, sheet.height_mm - 10.0)
    assert all(whole.contains(box) for box in boxes)
    assert not any(box.intersects(picture.shapes.ink) for box in inner)


def test_a_recording_is_drawn_and_one_elsewhere_is_told():
    outing = drive(block_circuit(), begin_m=10.0, laps=1.2)
    here = outing.recording(5, name="here.nmea")
    there = outing.recording(5, name="there.nmea", at=(-30.0, 10.0))
    track = block()
    picture = draw(track, [here, there])

    assert picture.remarks == ("there.nmea lies off the sheet and is not drawn",)
    lines = [
        line.get_xydata()
        for line in picture.figure.axes[0].lines
        if line.get_color() == "#0072b2" and line.get_linewidth() < 1
    ]
    place = picture.sheet.to_paper(track.plane.to_plane(here.longitude_deg, here.latitude_deg))
    drawn = shapely.union_all([shapely.LineString(line) for line in lines])
    assert max(drawn.distance(shapely.Point(p)) for p in place) < 0.05


# Files


PROGRAM = """
import sys
from trackkit.paper.draw import write_paper
from trackkit.track.file import read_track
track = read_track(sys.argv[1])
for path in sys.argv[2:]:
    write_paper(track, path)
print(*sys.modules)
"""


@pytest.fixture(scope="module")
def drawn_twice(tmp_path_factory):
    """Two processes that drew the same track in every format: folders, and modules loaded."""
    drawn = []
    for seed in ("1", "2"):
        folder = tmp_path_factory.mktemp("paper")
        paths = [str(folder / f"track{suffix}") for suffix in (".svg", ".pdf", ".png")]
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, str(SAMPLES[0]), *paths],
            capture_output=True,
            check=True,
            text=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        drawn.append((folder, done.stdout.split()))
    return drawn


@pytest.mark.parametrize("suffix", [".svg", ".pdf", ".png"])
def test_the_same_track_gives_the_same_bytes_in_another_process(suffix, drawn_twice):
    one, other = ((folder / f"track{suffix}").read_bytes() for folder, _ in drawn_twice)
    assert one == other


def test_a_users_own_settings_of_matplotlib_change_nothing(tmp_path):
    import matplotlib as mpl

    track = two_hundred_metres()
    write_paper(track, tmp_path / "a.svg")
    with mpl.rc_context({"font.size": 33, "lines.linewidth": 9, "axes.facecolor": "red"}):
        write_paper(track, tmp_path / "b.svg")
        assert mpl.rcParams["font.size"] == 33
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_a_file_that_exists_stays_without_force(tmp_path):
    track, path = two_hundred_metres(), tmp_path / "track.png"
    path.write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        write_paper(track, path)
    assert path.read_text() == "mine"
    write_paper(track, path, force=True)
    assert path.read_bytes().startswith(b"\x89PNG")
    assert sorted(tmp_path.iterdir()) == [path]


def test_matplotlib_is_loaded_without_pyplot(drawn_twice):
    for _, modules in drawn_twice:
        assert "matplotlib" in modules
        assert "matplotlib.pyplot" not in modules


def test_the_sheet_says_the_verdict_and_the_letters_of_the_geometry():
    track = block()
    picture = draw(track, verdict="Not fit to hand on: 1 error: kink.")

    texts = [text.get_text() for text in picture.figure.axes[0].texts]
    assert "Not fit to hand on: 1 error: kink." in texts
    assert any(f"geometry {short_digest(track)}" in text for text in texts)
