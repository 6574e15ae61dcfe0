"""How well each metre is known: as it is claimed, so it is, and what it rests on is told.

The lines that are repeated are known (tests/shared/recorded_rounds.py).  The whole trial is
tests/bench/bench_accuracy.py, of whose builds some are made here.
"""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from checkout import recording_of_a_real_receiver
from recorded_rounds import Plan, every_so_long, plans, recorded, where_it_turns

from trackkit.building.average import Reading
from trackkit.building.build import build_track
from trackkit.building.from_edges import build_between
from trackkit.building.from_line import build_from_line
from trackkit.building.line_accuracy import _own
from trackkit.building.revise import revise_track
from trackkit.building.sparse import bridged_sigma
from trackkit.geometry.curve import Curve
from trackkit.recordings.read import read_recording

WALK = Plan(
    "walk",
    seed=1,
    laps=1,
    length_m=800.0,
    corner_m=8.0,
    fastest_mps=1.4,
    sideways_mps2=5.0,
    rate_hz=1,
    doppler_mps=None,
    repeated_m=0.4,
    deviation_m=0.3,
)
KART = Plan(
    "kart",
    seed=1,
    laps=6,
    length_m=900.0,
    corner_m=8.0,
    fastest_mps=25.0,
    sideways_mps2=15.0,
    rate_hz=10,
)
LOOP = Plan(
    "sparse",
    seed=3,
    laps=1,
    length_m=2600.0,
    corner_m=20.0,
    fastest_mps=18.0,
    sideways_mps2=3.0,
    rate_hz=1,
    doppler_mps=None,
)


def built(plan):
    return build_track([recorded(plan).recording], "X")


def known(plan):
    """Sigma claimed, distance from the line that was repeated, and kind, every 2 m."""
    driven = recorded(plan)
    track = build_track([driven.recording], "X").track
    chainage = track.curve.chainages(2.0)
    place = track.plane.to_geographic(track.curve.position(chainage))
    return (*track.centreline.accuracy_at(chainage), driven.aside_m(*place))


def rms(*parts):
    return float(np.sqrt(np.mean(np.concatenate(parts) ** 2)))


# Claimed and actual


@pytest.mark.slow
def test_lines_are_as_far_from_those_repeated_as_they_claim():
    # A twentieth of the trial, two builds of each kind, so all kinds are held together: by sigma.
    found = [known(plan) for plan in plans(9300, 2)]
    sigma, _, aside = (np.concatenate(column) for column in zip(*found, strict=True))
    assert 0.8 < rms(aside / sigma) < 1.25
    assert 0.90 <= np.mean(aside <= 2 * sigma) <= 0.99


@pytest.mark.slow
def test_one_walk_round_is_known_as_badly_as_its_receiver_wandered():
    # The wander, 1 m on each axis, is all there: a walk takes many of its time constants.
    found = [known(replace(WALK, seed=seed)) for seed in range(4)]
    claimed, actual = rms(*(one[0] for one in found)), rms(*(one[2] for one in found))
    assert 0.8 < claimed / actual < 1.25


@pytest.mark.slow
def test_six_laps_in_a_kart_are_known_better_than_one_round_on_foot():
    walk, kart = (
        np.mean([built(replace(plan, seed=seed)).track.accuracy_m for seed in range(2)])
        for plan in (WALK, KART)
    )
    assert kart < walk


def test_the_accuracy_is_the_root_mean_square_of_the_profile():
    track = built(KART).track
    sigma, _ = track.centreline.accuracy_at(np.arange(0.0, track.length_m, 0.5))
    assert track.accuracy_m == pytest.approx(rms(sigma), rel=0.01)


@pytest.mark.parametrize("seed", [21, 22])
def test_one_round_on_foot_is_as_long_and_has_as_many_corners_as_were_walked(seed):
    # What the receiver wanders, 1.5 m, looks like bends at walking pace.
    walked = recorded(replace(WALK, seed=seed, wander_m=1.5))
    track = build_track([walked.recording], "X").track
    ring = np.vstack([walked.line_m, walked.line_m[:1]])
    length = np.linalg.norm(np.diff(ring, axis=0), axis=1).sum()
    assert track.length_m == pytest.approx(length, rel=0.0125)
    assert 4 <= len(track.corners) <= 10


@pytest.mark.slow
def test_two_rounds_on_foot_that_wandered_apart_make_a_line_as_long_as_the_one_walked():
    # Four metres apart is no straying where the receiver wandered by 1.5 m, and which of two
    # walkers is slower changes with every step.
    for first in (14009, 14015):
        (plan,) = [plan for plan in plans(first, 1) if plan.kind == "walk"]
        walked = recorded(plan)
        track = build_track([walked.recording], "X").track
        ring = np.vstack([walked.line_m, walked.line_m[:1]])
        length = np.linalg.norm(np.diff(ring, axis=0), axis=1).sum()
        assert plan.laps == 2
        assert track.length_m == pytest.approx(length, rel=0.01)
        # The circuits are polygons of six to nine corners.
        assert 4 <= len(track.corners) <= 10


# What receivers say of themselves


@pytest.mark.slow
def test_the_accuracy_that_a_receiver_reports_is_a_radius_that_holds_68_percent():
    # Rayleigh: of a circular normal error 68 % lie within sqrt(-2 ln 0.32) = 1.51 sigma.
    recording = recorded(WALK).recording
    told = replace(recording, accuracy_m=np.full(len(recording), 5.0))
    without, by_radius = (build_track([one], "X").track for one in (recording, told))
    by_axis = build_track([replace(told, accuracy_of="axis")], "X").track
    assert by_radius.accuracy_m == pytest.approx(5.0 / 1.51, rel=0.25)
    assert by_radius.accuracy_m > 2.0 * without.accuracy_m
    assert by_axis.accuracy_m == pytest.approx(5.0, rel=0.25)


def test_a_worse_geometry_of_satellites_makes_the_line_known_worse():
    recording = recorded(WALK).recording
    good, bad = (
        build_track([replace(recording, hdop=np.full(len(recording), value))], "X").track
        for value in (0.8, 3.0)
    )
    assert bad.accuracy_m > 2.0 * good.accuracy_m


@pytest.mark.slow
def test_where_nothing_tells_the_wander_it_is_said_that_it_is_assumed():
    assumed = "how far the receiver wandered is assumed"
    assert any(assumed in remark for remark in built(WALK).remarks)
    for told in (replace(WALK, accuracy=True), replace(WALK, hdop=1.0), replace(WALK, laps=2)):
        assert not any(assumed in remark for remark in built(told).remarks)
    (history,) = [h["what"] for h in built(WALK).track.history if "accuracy_m" in h["what"]]
    assert "usual wander over 1 lap" in history
    assert "which is assumed" in history


# Sparse logging and gaps


def off_m(plan):
    """Distances from the line that was repeated of a build, every 2 m."""
    return known(plan)[2]


@pytest.mark.slow
def test_straights_of_a_logger_that_writes_where_it_turns_stay_straight():
    # Up to 40 s apart, 700 m; a bend turns by 20 degrees at most before the next fix is written.
    keep = where_it_turns(20.0, 40.0)
    aside = [off_m(replace(LOOP, keep=keep, laps=2, seed=seed)) for seed in (0, 3, 7)]
    assert rms(*aside) < 13.0


@pytest.mark.slow
def test_a_corner_inside_a_gap_is_cut_less_where_the_fixes_beside_it_tell_the_course():
    gap = replace(KART, doppler_mps=None, laps=2, tunnel=(0.3, 100.0))
    aside = [off_m(replace(gap, seed=seed)) for seed in (3, 5)]
    assert max(part.max() for part in aside) < 14.0


@pytest.mark.slow
@pytest.mark.parametrize("keep", [every_so_long(4.0), where_it_turns(20.0, 40.0)])
def test_sparse_logging_is_called_that_and_no_tunnel(keep):
    build = built(replace(LOOP, keep=keep, rate_hz=1))
    text = " ".join(build.remarks)
    assert "sparse logging: the fixes are far apart over" in text
    assert "tunnel" not in text
    metres = build.track.centreline.metres_of_kinds()
    assert metres["thin"] > 0.8 * build.track.length_m
    assert metres["carried"] == 0.0
    assert build.track.accuracy_m > 1.2 * built(LOOP).track.accuracy_m


@pytest.mark.slow
def test_a_tunnel_is_carried_over_its_length_and_known_worse_there():
    length = built(KART).track.length_m
    build = built(replace(KART, tunnel=(0.4, 70.0)))
    metres = build.track.centreline.metres_of_kinds()
    assert metres["carried"] == pytest.approx(70.0, abs=8.0)
    assert metres["thin"] == 0.0
    assert build.track.length_m == pytest.approx(length, rel=0.02)
    sigma, kind = build.track.centreline.accuracy_at(np.arange(0.0, length, 1.0))
    assert sigma[kind == "carried"].max() > 1.5 * np.median(sigma[kind == "measured"])
    assert any("no lap has fixes between" in remark for remark in build.remarks)


def circle_but_for(radius_m, *, gap_m, corner=False):
    """A round at 10 m/s read where it has fixes, all but a stretch from 50 m on."""
    if corner:
        side = np.linspace(0.0, 1.0, 100, endpoint=False)[:, None]
        corners = radius_m * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        ring = [a + side * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
        curve = Curve.through(np.concatenate(ring), closed=True)
    else:
        angle = np.linspace(0.0, 2 * np.pi, 200, endpoint=False)
        ring = radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        curve = Curve.through(ring, closed=True)
    chainage = curve.chainages(1.0)
    even = np.zeros(len(chainage))
    carried = (chainage >= 50.0) & (chainage < 50.0 + gap_m)
    read = Reading(even, even + 10.0, even, time_s=chainage / 10.0)
    return carried, bridged_sigma(curve, chainage, carried, [read])


def test_a_bridge_within_an_even_bend_is_known_to_decimetres():
    # Over a radian the middle of a cubic whose tangents are as long as the arc is at
    # r sin(1/2) / 4 from the chord, and that of the arc at r (1 - cos(1/2)): 0.2 m apart.
    carried, sigma = circle_but_for(80.0, gap_m=80.0)
    assert 0.0 < sigma[carried].max() < 0.3
    assert not sigma[~carried].any()


def test_a_bridge_where_corners_are_sharp_is_known_worse():
    _, even = circle_but_for(80.0, gap_m=80.0)
    _, sharp = circle_but_for(80.0, gap_m=80.0, corner=True)
    assert sharp.max() > 5.0 * even.max()


def test_the_loop_by_car_is_thin_rather_than_carried_and_known_to_metres():
    recording = read_recording(recording_of_a_real_receiver("village-loop-by-car.gpx"))
    build = build_track([recording], "X")
    metres = build.track.centreline.metres_of_kinds()
    assert metres["carried"] < 0.02 * build.track.length_m
    assert metres["thin"] > 0.5 * build.track.length_m
    assert "tunnel" not in " ".join(build.remarks)
    assert build.track.accuracy_m > 1.5


def test_what_an_open_build_leaves_out_is_told_in_metres_and_share():
    recording = read_recording(recording_of_a_real_receiver("hill-walk-many-segments.gpx"))
    build = build_track([recording], "X", is_open=True)
    (told,) = [remark for remark in build.remarks if "left out" in remark]
    left_out, recorded_m = (
        float(text.replace(",", "")) for text in re.findall(r"([\d,]+) (?:of the|m recorded)", told)
    )
    # Straight from fix to fix the file is 5,807 m long; between far fixes the way is curved.
    assert recorded_m == pytest.approx(5_807, rel=1e-3)
    assert left_out == pytest.approx(5_807 - 1_085, rel=5e-3)
    assert "(81 %)" in told


# Edges, drawn lines, revisions


@pytest.mark.slow
def test_a_width_between_walked_edges_is_known_no_better_than_it_is():
    claimed, off = [], []
    for seed in range(3):
        wide = replace(WALK, seed=seed, corner_m=25.0, repeated_m=0.0)
        left, right = (recorded(wide, aside) for aside in (4.5, -4.5))
        build = build_between([left.recording], [right.recording], "X")
        profile = np.array(build.track.centreline.width_profile)
        off.append(profile[:, 1] + profile[:, 2] - 9.0)
        claimed.append(2.0 * build.track.accuracy_m)
    assert 0.7 < np.sqrt(np.mean(np.square(claimed))) / rms(*off) < 1.4


def test_a_drawn_line_is_drawn_all_along():
    line = built(KART).track.centreline
    track = build_from_line(line.longitude_deg, line.latitude_deg, "X").track
    metres = track.centreline.metres_of_kinds()
    assert metres["drawn"] == pytest.approx(track.length_m)
    assert track.accuracy_m == 3.0


@pytest.mark.slow
def test_laps_of_another_day_make_every_metre_known_better():
    first = built(KART).track
    again = replace(recorded(KART).recording, name="again")
    revised = revise_track(first, [again]).build.track
    chainage = np.arange(0.0, first.length_m, 20.0)
    before, _ = first.centreline.accuracy_at(chainage)
    after, kind = revised.centreline.accuracy_at(chainage)
    assert (after < before).all()
    assert set(kind.tolist()) == {"measured"}


@pytest.mark.parametrize("closed", [True, False])
def test_where_laps_scatter_as_much_everywhere_their_own_deviation_is_the_same(closed):
    curve = SimpleNamespace(closed=closed)
    random = np.random.default_rng(3)
    weight = random.uniform(0.0, 1.0, (3, 200))
    # In places one lap counts nearly alone, whose scatter about itself tells next to nothing.
    weight[1:, 50:90] *= 0.05
    total, square = weight.sum(axis=0), (weight**2).sum(axis=0)
    offset = np.tile(2.0 * np.sqrt((total - square / total) / total), (3, 1))
    average = SimpleNamespace(weight=weight, offset_m=offset, mean_m=np.zeros(200))

    own = _own(curve, 1.0, [None] * 3, average, SimpleNamespace(own_m=0.4))

    assert own == pytest.approx(np.full(200, 0.16))


def test_where_laps_scatter_more_their_own_deviation_is_larger_and_a_lap_alone_tells_nothing():
    average = SimpleNamespace(
        weight=np.ones((5, 600)),
        offset_m=np.where(np.arange(600) < 300, 1.0, 3.0) * np.array([[1], [-1], [1], [-1], [0]]),
        mean_m=np.zeros(600),
    )
    wander = SimpleNamespace(own_m=0.4)

    own = _own(SimpleNamespace(closed=False), 1.0, [None] * 5, average, wander)

    assert own[500] > 2.0 * own[100]
    assert own[100] < 0.16 < own[500]
    alone = _own(SimpleNamespace(closed=False), 1.0, [None], average, wander)
    assert alone == pytest.approx(np.full(600, 0.16))
    none = SimpleNamespace(**(vars(average) | {"offset_m": np.zeros((5, 600))}))
    assert _own(SimpleNamespace(closed=False), 1.0, [None] * 5, none, wander) == pytest.approx(0.16)
