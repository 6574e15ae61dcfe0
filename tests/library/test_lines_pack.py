"""Lines cut into pieces: nothing of them is lost, and each piece's ball holds it."""

from __future__ import annotations

import numpy as np
import pytest
from lines_on_earth import GEOD, loop

from trackkit.library.lines import LONGEST_SEGMENT_M, ROUND_M, arc_m, earth_centred, pack

HERE = (161.0, 47.0)


def eastward(steps_m, at=HERE):
    """A line due east from a place, along one geodesic, with steps of some lengths."""
    along = np.concatenate([[0.0], np.cumsum(steps_m)])
    longitude, latitude, _ = GEOD.fwd(
        np.full(len(along), at[0]), np.full(len(along), at[1]), np.full(len(along), 90.0), along
    )
    return np.asarray(longitude), np.asarray(latitude)


SHORT = eastward(np.full(60, 100.0))
LOOP = loop((161.1, 47.0), 600.0)
ROUND = loop((161.2, 47.1), 300.0, vertices=150)
LINES = (SHORT, LOOP, ROUND)


def pieces_of(lines):
    """Vertices of each piece, from the segments it says it has."""
    for begin, count, centre in zip(
        lines.piece_begin, lines.piece_segments, lines.centre_m, strict=True
    ):
        segment = lines.segment_m[begin : begin + count].astype(float)
        yield centre + np.vstack([segment[:, :3], segment[-1:, :3] + segment[-1:, 3:6]])


@pytest.mark.parametrize("fine", [False, True])
def test_every_line_comes_back_vertex_by_vertex(fine):
    lines = pack(LINES, fine=fine)

    assert len(lines) == 3
    for number, line in enumerate(LINES):
        # Single precision over two kilometres is a tenth of a millimetre.
        assert lines.vertices(number) == pytest.approx(earth_centred(*line), abs=2e-4)


@pytest.mark.parametrize("fine", [False, True])
def test_pieces_hold_all_segments_once_in_order_and_each_of_one_line(fine):
    lines = pack(LINES, fine=fine)

    assert lines.piece_begin.tolist() == [0, *np.cumsum(lines.piece_segments)[:-1].tolist()]
    assert lines.piece_segments.sum() == len(lines.segment_m) == 60 + 39 + 149
    assert lines.begin.tolist() == [0, 60, 99, 248]
    owner = np.repeat(lines.piece_line, lines.piece_segments)
    assert owner.tolist() == [0] * 60 + [1] * 39 + [2] * 149
    firsts = [int(np.flatnonzero(lines.piece_line == number)[0]) for number in range(3)]
    assert lines.line_piece.tolist() == [*firsts, len(lines.piece_line)]


@pytest.mark.parametrize(("fine", "metres", "segments"), [(False, 2000.0, 512), (True, 125.0, 64)])
def test_pieces_are_about_as_long_as_they_may_be(fine, metres, segments):
    # 6 km in steps of 100 m, and 600 m in steps of half a metre.
    lines = pack([SHORT, eastward(np.full(1200, 0.5))], fine=fine)

    long_piece = lines.piece_segments[lines.piece_line == 0] * 100.0
    assert long_piece.max() <= metres + 100.0
    assert long_piece.mean() >= 0.7 * metres
    many = lines.piece_segments[lines.piece_line == 1]
    assert many.max() <= segments
    assert len(many) <= 1200 / segments + 600.0 / metres + 1


@pytest.mark.parametrize("fine", [False, True])
def test_the_ball_of_a_piece_is_that_around_the_box_of_its_vertices(fine):
    lines = pack(LINES, fine=fine)

    for vertex, centre, reach in zip(pieces_of(lines), lines.centre_m, lines.reach_m, strict=True):
        low, high = vertex.min(axis=0), vertex.max(axis=0)
        assert centre == pytest.approx(0.5 * (low + high), abs=2e-4)
        assert reach == pytest.approx(0.5 * np.linalg.norm(high - low), abs=2e-4)
        assert np.linalg.norm(vertex - centre, axis=1).max() <= reach + 2e-4


def test_a_segment_carries_its_step_and_one_over_its_length_squared():
    repeated = tuple(np.repeat(column[:3], [1, 2, 1]) for column in SHORT)

    segment = pack([repeated]).segment_m

    assert np.linalg.norm(segment[:, 3:6], axis=1) == pytest.approx([100.0, 0.0, 100.0], abs=1e-4)
    assert segment[:, 6] == pytest.approx([1e-4, 0.0, 1e-4], rel=1e-5)


def test_the_size_of_a_line_is_that_of_its_balls_one_after_the_other():
    lines = pack(LINES)

    for number in range(3):
        reach = lines.reach_m[lines.piece_line == number]
        assert lines.size_m[number] == pytest.approx(2.0 * reach.sum())
        vertex = lines.vertices(number)
        across = np.linalg.norm(vertex[:, None] - vertex, axis=2).max()
        assert across <= lines.size_m[number] + 1e-3
    assert lines.widest_m == lines.reach_m.max()
    assert pack([]).widest_m == 0.0
    assert len(pack([])) == 0


def test_long_segments_get_points_of_their_geodesic_evenly_between():
    # 300 m in three, 50 m as it is, 260 m in three; then another line: 100 m as it is, 130 m in
    # two; and one with nothing to add.
    first, second = [300.0, 50.0, 260.0], [100.0, 130.0]
    elsewhere = (161.2, 47.0)

    lines = pack([eastward(first), eastward(second, elsewhere), LOOP])

    expected = eastward([100.0] * 3 + [50.0] + [260.0 / 3] * 3)
    assert lines.vertices(0) == pytest.approx(earth_centred(*expected), abs=1e-3)
    expected = eastward([100.0, 65.0, 65.0], elsewhere)
    assert lines.vertices(1) == pytest.approx(earth_centred(*expected), abs=1e-3)
    assert lines.vertices(2) == pytest.approx(earth_centred(*LOOP), abs=2e-4)
    assert np.diff(lines.begin).tolist() == [7, 3, 39]


def test_chords_of_the_longest_segments_dip_a_third_of_a_millimetre_below_the_geodesic():
    # The sagitta of an arc is its length squared over eight radii (school geometry): a tenth of
    # the millimetre to which geodesic distances are meant to be right would be 70 m.
    lines = pack([eastward([1e4])])

    length = np.linalg.norm(lines.segment_m[:, 3:6].astype(float), axis=1)
    assert (length**2 / (8.0 * 6.371e6)).max() < 0.32e-3
    assert length.max() > 0.95 * LONGEST_SEGMENT_M


@pytest.mark.parametrize("tree_from", [1, 10_000])
def test_the_nearest_pieces_are_those_whose_middles_are(tree_from, monkeypatch):
    monkeypatch.setattr("trackkit.library.lines._TREE_FROM_PIECES", tree_from)
    lines = pack(LINES, fine=True)
    place = earth_centred([161.05, 161.2], [47.0, 47.1])

    distance, piece = lines.nearest_pieces(place, 5)

    assert distance.shape == piece.shape == (2, 5)
    for position, away, which in zip(place, distance, piece, strict=True):
        true = np.linalg.norm(lines.centre_m - position, axis=1)
        assert away == pytest.approx(np.sort(true)[:5])
        assert true[which] == pytest.approx(away)
    alone, first = lines.nearest_pieces(place[0], 1)
    assert (alone[0], first[0]) == (distance[0, 0], piece[0, 0])


@pytest.mark.parametrize("azimuth", [0.0, 45.0, 90.0])
def test_near_by_an_arc_is_right_to_a_fifth_of_a_millimetre(azimuth):
    # At 19.9 km an arc is 8.1 mm longer than its chord, which the radius chosen changes by 0.1 mm.
    distance = 19_900.0
    assert distance < ROUND_M
    longitude, latitude, _ = GEOD.fwd(*HERE, azimuth, distance)
    start, end = earth_centred(*HERE), earth_centred(longitude, latitude)
    chord = float(np.linalg.norm(end - start))

    assert distance - chord > 8e-3
    assert arc_m(chord, start.tolist(), end.tolist()) == pytest.approx(distance, abs=2e-4)
