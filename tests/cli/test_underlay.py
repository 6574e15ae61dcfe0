"""Pictures of the ground, from the command line."""

import io
import json
import re

import numpy as np
import pytest
import rasterio
from aerial import painted, write_geotiff
from PIL import Image
from pyproj import Transformer

from trackkit import open_library, read_track
from trackkit.cli import run

POINTS = "x,y,place,name\n0,0,38.7230 83.3500,north-west\n800,0,38.7230 83.3560,north-east\n"
FOURTH = "0,500,38.7201 83.3500,south-west\n800,500,38.7201 83.3560,south-east\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def track_path():
    return str(open_library().find("pipwick-kart-circuit").path)


@pytest.fixture(scope="module")
def flight(track_path, tmp_path_factory):
    pixels, affine = painted(read_track(track_path), "EPSG:32644", pixel_m=1.0)
    path = tmp_path_factory.mktemp("flight") / "flight.tif"
    return str(write_geotiff(path, pixels, affine, "EPSG:32644"))


@pytest.fixture
def plan(folder):
    Image.fromarray(np.full((500, 800, 3), 200, np.uint8)).save("plan.png")
    return "plan.png"


def test_a_page_carries_its_picture_and_says_whose_it_is(folder, track_path, flight, capfd):
    assert run(["map", track_path, "--underlay", flight, "-o", "page.html"]) == 0
    page = (folder / "page.html").read_text("utf-8")
    base = json.loads(re.search(r'id="base"[^>]*>(.*?)</script>', page, re.DOTALL)[1])
    assert base["underlay"]["picture"].startswith("data:image/webp;base64,")
    assert base["underlay"]["credit"] == "An invented flight"
    assert "http" not in re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    said = capfd.readouterr().err
    assert "1.00 m a pixel (the file has 1.00)" in said
    assert "a picture may lie metres off" in said


def test_a_page_without_a_picture_has_none_of_it(folder, track_path):
    assert run(["map", track_path, "-o", "page.html"]) == 0
    page = (folder / "page.html").read_text("utf-8")
    assert "show-underlay" not in page.partition("<script")[0].partition("</style>")[2]
    assert '"underlay":null' in page


@pytest.mark.slow
@pytest.mark.parametrize("suffix", ["pdf", "svg", "png"])
def test_a_sheet_has_its_picture_and_its_credit(folder, track_path, flight, suffix):
    plain, pictured = folder / f"plain.{suffix}", folder / f"pictured.{suffix}"
    assert run(["map", track_path, "-o", str(plain)]) == 0
    assert run(["map", track_path, "--underlay", flight, "-o", str(pictured)]) == 0
    assert plain.stat().st_size + 50_000 < pictured.stat().st_size < 4_000_000
    if suffix == "svg":
        assert "Picture: An invented flight" in pictured.read_text("utf-8")


@pytest.mark.slow
def test_the_picture_of_a_sheet_lies_under_the_line(folder, track_path, flight):
    # The tarmac is the darkest that was painted: along the line the sheet shows it.
    from trackkit.paper.draw import draw, settings
    from trackkit.underlay.picture import read_underlay

    track = read_track(track_path)
    with settings():
        picture = draw(track, underlay=read_underlay(flight))
    (image,) = picture.figure.axes[0].get_images()
    left, right, bottom, top = image.get_extent()
    pixels = image.get_array()
    line = picture.sheet.to_paper(
        track.plane.to_plane(track.centreline.longitude_deg, track.centreline.latitude_deg)
    )
    column = ((line[:, 0] - left) / (right - left) * pixels.shape[1]).astype(int)
    row = ((top - line[:, 1]) / (top - bottom) * pixels.shape[0]).astype(int)
    assert np.mean(pixels[row, column, 0] < 120) > 0.95


@pytest.mark.parametrize(
    ("words", "status", "fault"),
    [
        (
            ["--tiles", "https://t.example/{z}/{x}/{y}.png", "--credit", "x"],
            2,
            "give --tiles or",
        ),
        (["--underlay-size", "0.0"], 2, "--underlay-size"),
        (["--underlay-crs", "EPSG:1"], 1, "EPSG:1"),
    ],
)
def test_options_that_do_not_go_with_a_picture_are_refused(
    folder, track_path, flight, words, status, fault, capfd
):
    assert run(["map", track_path, "--underlay", flight, *words, "-o", "page.html"]) == status
    assert fault in capfd.readouterr().err
    assert not (folder / "page.html").exists()


def bare_picture(folder):
    """A picture that says neither where it lies nor whose it is."""
    path = folder / "bare.png"
    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(path)
    return path


def test_a_picture_of_nobody_is_refused_with_the_option_that_names_them(folder, track_path, capfd):
    bare_picture(folder).with_suffix(".pgw").write_text("1\n0\n0\n-1\n704300\n4288400\n")
    words = ["map", track_path, "--underlay", "bare.png", "-o", "page.html"]
    assert run(words) == 1
    assert "says no coordinate system; name the one that its makers used with --underlay-crs" in (
        capfd.readouterr().err
    )
    assert run([*words, "--underlay-crs", "EPSG:32644"]) == 1
    shown = capfd.readouterr().err
    assert "says nothing of who made it" in shown
    assert shown.rstrip().endswith("with --credit TEXT")


def test_a_picture_that_lies_nowhere_is_refused_with_the_command_that_lays_it(
    folder, track_path, capfd
):
    bare_picture(folder)
    assert run(["map", track_path, "--underlay", "bare.png", "-o", "page.html"]) == 1
    typed = "trackkit underlay bare.png --points POINTS.csv --credit TEXT -o bare-laid.tif"
    assert capfd.readouterr().err.rstrip().endswith(f"by points of it on the ground: {typed}")


def test_a_pdf_is_refused_with_the_command_that_lays_it(folder, track_path, capfd):
    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(folder / "paddock.pdf")
    assert run(["map", track_path, "--underlay", "paddock.pdf", "-o", "page.html"]) == 1
    typed = "trackkit underlay paddock.pdf --points POINTS.csv --credit TEXT -o paddock-laid.tif"
    assert capfd.readouterr().err.rstrip().endswith(f"by points of it on the ground: {typed}")


def test_a_picture_of_another_place_writes_nothing(folder, flight, capfd):
    other = str(open_library().find("gullhatch-oval").path)
    assert run(["map", other, "--underlay", flight, "-o", "page.html"]) == 1
    assert f"trackkit: {flight}: does not reach" in capfd.readouterr().err
    assert not (folder / "page.html").exists()


def test_a_plan_is_placed_and_what_is_left_at_each_point_is_shown(folder, plan, capfd):
    (folder / "points.csv").write_text(POINTS + FOURTH)
    command = ["underlay", plan, "--points", "points.csv", "--credit", "A. Painter"]
    assert run([*command, "-o", "plan.tif"]) == 0
    shown, said = capfd.readouterr()
    assert re.search(r"north-west\s+-?0\.0\d\s+-?0\.0\d\s+0\.0\d", shown)
    assert "one sigma of a point is 0.0" in said
    with rasterio.open(folder / "plan.tif") as placed:
        assert placed.tags()["TIFFTAG_COPYRIGHT"] == "A. Painter"
        assert placed.shape == (500, 800)
    assert run([*command, "-o", "plan.tif"]) == 1
    assert "exists" in capfd.readouterr().err


def test_a_placed_plan_lies_under_the_circuit(folder, plan, track_path):
    (folder / "points.csv").write_text(POINTS + FOURTH)
    command = ["underlay", plan, "--points", "points.csv", "--credit", "A. Painter"]
    assert run([*command, "-o", "plan.tif"]) == 0
    assert run(["map", track_path, "--underlay", "plan.tif", "-o", "page.html"]) == 0


def test_a_photo_is_taken_as_its_camera_was_held(folder):
    pixels = np.full((500, 800, 3), 200, np.uint8)
    pixels[:100, :100] = 0
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation of Exif 2.3: turn clockwise by 90 degrees to show
    Image.fromarray(pixels).save("held.jpg", exif=exif)
    turned = POINTS.replace("800,0,", "500,0,") + "0,800,38.7183 83.3500,south-west\n"
    (folder / "points.csv").write_text(turned)
    command = ["underlay", "held.jpg", "--points", "points.csv", "--credit", "x", "-o", "o.tif"]
    assert run(command) == 0
    with rasterio.open(folder / "o.tif") as placed:
        assert placed.shape == (800, 500)
        assert placed.read(1)[:80, 420:].max() < 60


def test_places_of_a_pdf_are_told_in_millimetres(folder):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(200 / 25.4, 100 / 25.4))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 200)
    axes.set_ylim(100, 0)
    axes.fill([148, 152, 152, 148], [38, 38, 42, 42], color="black")
    figure.savefig("plan.pdf")
    rows = ["x,y,place", "0,0,38.7230 83.3500", "200,0,38.7230 83.3560", "0,100,38.7210 83.3500"]
    (folder / "points.csv").write_text("\n".join(rows))
    command = ["underlay", "plan.pdf", "--points", "points.csv", "--credit", "x", "-o", "o.tif"]
    assert run(command) == 0
    with rasterio.open(folder / "o.tif") as placed:
        row, column = np.nonzero(placed.read(1) < 100)
        per_mm = placed.shape[1] / 200.0
    assert np.mean(column + 0.5) / per_mm == pytest.approx(150.0, abs=0.2)
    assert np.mean(row + 0.5) / per_mm == pytest.approx(40.0, abs=0.2)


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        ("x,y,name\n1,2,a\n", "points.csv: has not the columns of a table of points"),
        ("x,y,place,colour\n1,2,3 4,red\n", "points.csv: has a column 'colour'"),
        (POINTS + "a,3,38.7 83.3,b\n", "points.csv, line 4: x is 'a', which is no number"),
        (POINTS + "1,3,north,b\n", "points.csv, line 4: 'north' is no place"),
        (POINTS + "1,3,412m,b\n", "points.csv, line 4: '412m' is no place on the ground"),
        (POINTS, "2 points place no plan by an affine fit"),
        ("x,y,east,north\n1,2,3,4\n", "points.csv: has columns east and north of no grid"),
        (POINTS + "0,5000,38.69 83.35,far\n", "plan.png: is 800 wide and 500 high, and point 3"),
        (POINTS + "0,500,38.7260 83.3500,up\n", "mirrored"),
    ],
)
def test_tables_of_points_that_place_nothing_are_refused(folder, plan, table, fault, capfd):
    (folder / "points.csv").write_text(table)
    command = ["underlay", plan, "--points", "points.csv", "--credit", "x", "-o", "o.tif"]
    assert run(command) == 1
    said = capfd.readouterr().err
    assert fault in said
    assert said.count("\n") == 1
    assert not (folder / "o.tif").exists()


def test_what_is_no_plan_is_refused(folder, capfd):
    (folder / "points.csv").write_text(POINTS + FOURTH)
    (folder / "plan.png").write_bytes(b"\x89PNG\r\n\x1a\n damaged")
    (folder / "plan.pdf").write_bytes(b"%PDF-1.7 damaged")
    for plan in ("plan.png", "plan.pdf", "missing.jpg"):
        command = ["underlay", plan, "--points", "points.csv", "--credit", "x", "-o", "o.tif"]
        assert run(command) == 1
        assert capfd.readouterr().err.startswith(f"trackkit: {plan}: ")


def test_a_projective_plan_is_drawn_anew_north_up(folder):
    # A picture of flat ground from aslant; its far edge is half as wide on the picture.
    pixels = np.full((400, 400, 3), 180, np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG")
    (folder / "aslant.png").write_bytes(buffer.getvalue())
    rows = [
        "x,y,place",
        "100,100,38.7230 83.3500",
        "300,100,38.7230 83.3520",
        "0,400,38.7210 83.3500",
        "400,400,38.7210 83.3520",
    ]
    (folder / "points.csv").write_text("\n".join(rows))
    command = ["underlay", "aslant.png", "--points", "points.csv", "--credit", "x"]
    assert run([*command, "--fit", "projective", "-o", "o.tif"]) == 0
    with rasterio.open(folder / "o.tif") as placed:
        assert placed.transform.b == placed.transform.d == 0.0
        clear = placed.read(4) == 0
    assert 0.1 < clear.mean() < 0.9


@pytest.fixture
def line(folder, track_path):
    points = read_track(track_path).centreline
    places = np.column_stack([points.longitude_deg, points.latitude_deg]).tolist()
    drawn = {"type": "LineString", "coordinates": [*places, places[0]]}
    (folder / "line.geojson").write_text(json.dumps(drawn))
    return "line.geojson"


def test_a_line_drawn_over_a_plan_is_known_by_its_pixel_and_its_fit(
    folder, plan, line, track_path, capfd
):
    # Two opposite corners of a square are 1 m off: 0.5 m are left at each of the four, on one axis.
    Image.fromarray(np.full((800, 800, 3), 200, np.uint8)).save("plan.png")
    grid = Transformer.from_crs("EPSG:4326", "EPSG:32644", always_xy=True)
    east, north = np.round(grid.transform(*read_track(track_path).corners[2].apex)) - [400, -400]
    (folder / "points.csv").write_text(
        f"x,y,east,north\n0,0,{east},{north + 1}\n800,0,{east + 800},{north}\n"
        f"800,800,{east + 800},{north - 799}\n0,800,{east},{north - 800}\n"
    )
    command = ["underlay", plan, "--points", "points.csv", "--crs", "EPSG:32644"]
    assert run([*command, "--credit", "x", "-o", "plan.tif"]) == 0
    assert f"one sigma of a point is {np.sqrt(4 * 0.5**2 / 2):.2f} m" in capfd.readouterr().err
    assert run(["build", "--from-line", line, "--name", "P", "--underlay", "plan.tif"]) == 0
    said = capfd.readouterr().err
    assert "1.00 m a pixel of the picture and 0.71 m of the points" in said
    assert "is assumed" not in said
    track = read_track(folder / "p.geojson")
    (row,) = track.centreline.accuracy_profile
    assert row.kind == "drawn"
    assert row.sigma_m == pytest.approx(np.sqrt(1.0 + 0.5), abs=0.01)
    assert track.sources[1] == {"file": "plan.tif", "kind": "picture", "credit": "x"}


def test_a_line_drawn_over_a_picture_that_nobody_measured_is_known_no_better(
    folder, flight, line, capfd
):
    assert run(["build", "--from-line", line, "--name", "P", "--underlay", flight]) == 0
    assert "1.00 m a pixel of the picture and an assumed 3 m" in capfd.readouterr().err
    track = read_track(folder / "p.geojson")
    assert track.accuracy_m == pytest.approx(np.hypot(1.0, 3.0), abs=0.01)


def test_a_line_that_lies_beside_the_picture_was_not_drawn_over_it(folder, flight, line, capfd):
    drawn = json.loads((folder / line).read_text())
    drawn["coordinates"] = [[lon + 0.004, lat] for lon, lat in drawn["coordinates"]]
    (folder / line).write_text(json.dumps(drawn))
    assert run(["build", "--from-line", line, "--name", "P", "--underlay", flight]) == 1
    assert re.search(r"flight.tif: shows \d+ % of the line", capfd.readouterr().err)
    assert not (folder / "p.geojson").exists()


def test_the_page_of_how_a_track_was_built_carries_its_picture(folder, track_path, flight, capfd):
    assert run(["simulate", track_path, "-o", "d.csv", "--laps", "1", "--rate", "5"]) == 0
    build = ["build", "d.csv", "--name", "P", "--underlay", flight]
    assert run([*build, "--explain", "e.html"]) == 0
    page = (folder / "e.html").read_text("utf-8")
    assert page.count("data:image/webp;base64,") == 1
    assert "Picture of the ground: An invented flight" in page
    assert "1.00 m a pixel (the file has 1.00)" in capfd.readouterr().err
    assert run([*build, "--force"]) == 2
    assert "--underlay goes with --explain, or with --from-line" in capfd.readouterr().err


def test_a_picture_of_another_place_leaves_no_track_either(folder, flight, capfd):
    other = str(open_library().find("gullhatch-oval").path)
    assert run(["simulate", other, "-o", "d.csv", "--laps", "1", "--rate", "5"]) == 0
    build = ["build", "d.csv", "--name", "P", "--underlay", flight, "--explain", "e.html"]
    assert run(build) == 1
    assert "does not reach P" in capfd.readouterr().err
    assert sorted(path.suffix for path in folder.iterdir() if path.stem in ("p", "e")) == []
