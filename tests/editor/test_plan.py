"""A plan without coordinates, laid by pairs of places that pages send."""

from __future__ import annotations

import base64
import io
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from served_block import AT, HOME, PORT, TOKEN, post, small_page
from starlette.testclient import TestClient
from unplaced_plan import TurnedPhoto

from trackkit import open_library, place_plan, read_plan_points, read_track, read_underlay
from trackkit.editor.desk import Desk, Presence
from trackkit.editor.plan_desk import MOST_PAIRS, PlanDesk
from trackkit.editor.server import make_app
from trackkit.underlay.sheets import UnplacedPlan

KART = open_library().find("pipwick-kart-circuit").path


@pytest.fixture(scope="module")
def track():
    return read_track(KART)


@pytest.fixture(scope="module")
def photo(track, tmp_path_factory):
    return TurnedPhoto(track, tmp_path_factory.mktemp("photo") / "photo.png")


@pytest.fixture
def folder(tmp_path, photo):
    shutil.copy(KART, tmp_path / "track.geojson")
    shutil.copy(photo.path, tmp_path / "photo.png")
    return tmp_path


@pytest.fixture
def desk(folder):
    plan = PlanDesk(UnplacedPlan(str(folder / "photo.png")))
    return Desk(str(folder / "track.geojson"), plan=plan)


@pytest.fixture
def client(desk):
    app = make_app(desk, TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        yield client


@pytest.fixture
def pairs(track, photo):
    apexes = [corner.apex for corner in track.corners[:6]]
    return [{"x": x, "y": y, "at": list(at)} for at in apexes for x, y in [photo.place(*at)]]


def asked(pairs, **more):
    return {"pairs": pairs, "fit": "affine", **more}


def test_a_page_is_told_of_the_plan_and_sees_it(client, photo):
    plan = client.get(f"{AT}/plan").json()

    head, coded = plan["picture"].split(",")
    assert head == "data:image/webp;base64"
    with Image.open(io.BytesIO(base64.b64decode(coded))) as seen, Image.open(photo.path) as whole:
        assert seen.size == whole.size == (plan["width"], plan["height"])
    assert (plan["unit"], plan["pairs"], plan["laid"]) == ("px", [], False)
    assert plan["fewest"] == {"affine": 3, "projective": 4}


def test_pairs_that_agree_lay_the_plan_and_leave_nothing(client, pairs):
    tried = post(client, "plan/pairs", asked(pairs)).json()

    assert tried["fits"]
    # The web's grid and the plane of the points differ by less, over a kart circuit.
    assert max(row["away_m"] for row in tried["pairs"]) < 0.01
    assert all(row["bad"] is None for row in tried["pairs"])
    assert tried["remarks"][0].startswith("one sigma of a point is 0.00 m")


def test_the_plan_lies_where_the_ground_is(client, pairs, track):
    laid = post(client, "plan/pairs", asked(pairs)).json()["underlay"]

    picture = Image.open(io.BytesIO(base64.b64decode(laid["picture"].split(",")[1])))
    seen = np.asarray(picture.convert("RGB")).astype(float)
    line = track.centreline
    # The web's Mercator projection, of the track's own latitudes.
    north, south, at = (
        np.arctanh(np.sin(np.radians(value)))
        for value in (laid["north"], laid["south"], line.latitude_deg)
    )
    column = (line.longitude_deg - laid["west"]) / (laid["east"] - laid["west"]) * picture.width
    row = (north - at) / (north - south) * picture.height
    tarmac = seen[row.astype(int), column.astype(int)]
    # The tarmac is grey, the ground around it brown.
    assert np.median(np.ptp(tarmac, axis=1)) < 12
    assert np.median(np.ptp(seen.reshape(-1, 3), axis=1)) > 40


def test_a_bad_pair_is_told_as_the_command_tells_it(client, pairs):
    pairs[3]["x"] += 40.0
    tried = post(client, "plan/pairs", asked(pairs)).json()

    assert [row["bad"] for row in tried["pairs"]].index("does not go with the others") == 3
    assert "point 4 does not go with the others: measure it again" in tried["remarks"][1]


def test_what_is_left_is_that_of_the_command(client, pairs, track):
    pairs[1]["y"] += 3.0
    tried = post(client, "plan/pairs", asked(pairs, fit="projective")).json()

    points = client.get(f"{AT}/plan").json()["pairs"]
    from trackkit import PlanPoint

    placed = place_plan([PlanPoint(p["x"], p["y"], tuple(p["at"])) for p in points], "projective")
    assert [[row["east_m"], row["north_m"]] for row in tried["pairs"]] == placed.residual_m.tolist()


@pytest.mark.parametrize(
    ("count", "why"),
    [(0, "0 points place no plan by an affine fit"), (2, "2 points place no plan")],
)
def test_too_few_pairs_are_no_error_yet(client, pairs, count, why):
    answer = post(client, "plan/pairs", asked(pairs[:count]))

    assert answer.status_code == 200
    assert answer.json()["fits"] is False
    assert answer.json()["why"].startswith(why)


def test_pairs_that_are_mixed_up_say_so(client, pairs):
    first, second = pairs[0]["at"], pairs[1]["at"]
    pairs[0]["at"], pairs[1]["at"] = second, first

    assert "mirrored" in post(client, "plan/pairs", asked(pairs[:3])).json()["why"]


def test_pairs_far_from_the_circuit_do_not_lay_it(client, pairs):
    for pair in pairs:
        pair["at"] = [pair["at"][0] + 1.0, pair["at"][1]]

    tried = post(client, "plan/pairs", asked(pairs)).json()
    assert tried["why"].startswith("photo.png: does not reach")


def test_a_chainage_is_a_place_on_the_line(client, track):
    at = post(client, "plan/place", {"place": "120m"}).json()["at"]

    there = track.curve.project(np.array([track.plane.to_plane(*at)]))
    assert there[0][0] == pytest.approx(120.0, abs=0.01)
    assert there[1][0] == pytest.approx(0.0, abs=0.01)


def test_a_latitude_and_longitude_are_a_place(client):
    assert post(client, "plan/place", {"place": " 38.7214 83.3520"}).json() == {
        "at": [83.3520, 38.7214]
    }


@pytest.mark.parametrize("place", ["", "somewhere", "99999m", "38.7 83.3/38.8 83.4"])
def test_what_is_no_place_is_one_sentence(client, place):
    answer = post(client, "plan/place", {"place": place})

    assert answer.status_code == 400
    assert "\n" not in answer.json()["error"]


def test_a_plan_is_not_laid_before_somebody_is_named(client, pairs):
    answer = post(client, "plan/lay", asked(pairs))

    assert answer.status_code == 400
    assert answer.json()["error"].startswith("photo.png: nobody is named who made it")


def test_a_plan_that_is_laid_is_drawn_over_from_then_on(client, desk, pairs):
    before = client.get(f"{AT}/state").json()
    state = post(client, "plan/lay", asked(pairs, credit="A. Painter")).json()

    assert state["base"] != before["base"]
    assert not state["unsaved"]
    assert desk.base()["underlay"]["credit"] == "A. Painter"
    line = [list(corner.apex) for corner in desk.editing.step.track.corners[:3]]
    edge = {"do": "pit-lane", "line": line}
    post(client, "edit", edge)
    history = desk.editing.step.track.history
    assert "drawn by hand over photo.png" in str(history[-1]) + str(desk.editing.step.track)


def test_pairs_outlive_the_page(client, pairs):
    post(client, "plan/pairs", asked(pairs, fit="projective", credit="A. Painter"))
    plan = client.get(f"{AT}/plan").json()

    assert [(pair["x"], pair["y"]) for pair in plan["pairs"]] == [(p["x"], p["y"]) for p in pairs]
    assert (plan["fit"], plan["credit"]) == ("projective", "A. Painter")


def test_points_are_saved_as_the_command_reads_them(client, desk, folder, pairs):
    assert not desk.plan.unsaved
    post(client, "plan/pairs", asked(pairs))
    assert desk.plan.unsaved
    answer = post(client, "plan/save", asked(pairs, what="points", name="points")).json()

    assert answer == {"saved": True, "file": str(folder / "points.csv")}
    assert not desk.plan.unsaved
    points = read_plan_points(folder / "points.csv")
    assert [point.position for point in points] == [
        pytest.approx(tuple(pair["at"]), abs=1e-8) for pair in pairs
    ]
    assert [(point.x, point.y) for point in points] == [
        pytest.approx((pair["x"], pair["y"]), abs=1e-3) for pair in pairs
    ]


def test_the_picture_is_saved_as_the_command_writes_it(client, folder, pairs):
    body = asked(pairs, what="picture", name="photo-placed", credit="A. Painter")
    assert post(client, "plan/save", body).status_code == 200

    underlay = read_underlay(folder / "photo-placed.tif")
    assert underlay.credit == "A. Painter"
    assert underlay.residual_m < 0.5


@pytest.mark.parametrize("what", ["points", "picture"])
def test_a_file_is_saved_over_nothing(client, folder, pairs, what):
    suffix = "csv" if what == "points" else "tif"
    there = folder / f"mine.{suffix}"
    there.write_text("keep me")
    body = asked(pairs, what=what, name="mine", credit="A. Painter")
    answer = post(client, "plan/save", body)

    assert answer.status_code == 400
    assert "give another name" in answer.json()["error"]
    assert there.read_text() == "keep me"


@pytest.mark.parametrize("name", ["../out", "a/b", "", ".hidden", "a\nb"])
def test_a_name_names_a_file_beside_the_plan(client, folder, pairs, name):
    body = asked(pairs, what="points", name=name)

    assert post(client, "plan/save", body).status_code == 400
    assert not list(folder.rglob("*.csv"))
    assert not (folder.parent / "out.csv").exists()


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"pairs": [], "fit": "bent"},
        {"pairs": [1], "fit": "affine"},
        {"pairs": [{"x": "1", "y": 2, "at": [1, 2]}], "fit": "affine"},
        {"pairs": [{"x": 1, "y": 2, "at": [1, 95]}], "fit": "affine"},
        {"pairs": [{"x": 1, "y": 2, "at": [1, 2]}] * (MOST_PAIRS + 1), "fit": "affine"},
    ],
)
def test_what_no_page_of_ours_sends_is_refused(client, body):
    answer = post(client, "plan/pairs", body)

    assert answer.status_code == 400
    assert "\n" not in answer.json()["error"]


def test_without_a_plan_there_is_none_to_lay(folder):
    app = make_app(Desk(str(folder / "track.geojson")), TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        assert client.get(f"{AT}/plan").status_code == 400
        assert post(client, "plan/lay", {}).json() == {"error": "there is no plan to be laid"}


def test_a_large_plan_is_seen_coarser_and_clicked_in_its_own_pixels(tmp_path):
    Image.new("RGB", (6000, 2000), "white").save(tmp_path / "large.png")
    plan = PlanDesk(UnplacedPlan(str(tmp_path / "large.png"))).as_row()

    picture = Image.open(io.BytesIO(base64.b64decode(plan["picture"].split(",")[1])))
    assert picture.width * picture.height <= 6_000_000
    assert (plan["width"], plan["height"]) == (6000, 2000)


def test_a_photo_is_seen_as_its_camera_was_held(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation of Exif 2.3: turn clockwise by 90 degrees to show
    Image.new("RGB", (80, 50), "white").save(tmp_path / "held.jpg", exif=exif)
    plan = PlanDesk(UnplacedPlan(str(tmp_path / "held.jpg"))).as_row()

    assert (plan["width"], plan["height"]) == (50, 80)


def test_a_page_of_a_pdf_is_clicked_in_millimetres(tmp_path):
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    path = tmp_path / "plan.pdf"
    with PdfPages(path) as pages:
        for size in ((4.0, 4.0), (200 / 25.4, 100 / 25.4)):
            Figure(figsize=size).savefig(pages, format="pdf")
    plan = PlanDesk(UnplacedPlan(str(path), page=2)).as_row()

    assert plan["unit"] == "mm"
    assert (plan["width"], plan["height"]) == pytest.approx((200.0, 100.0), abs=0.2)
    assert Path(plan["file"]).name == "plan.pdf"
