"""Labels lie beside what they name, on top of nothing."""

import numpy as np
import pytest
import shapely
from paper_tracks import ALL, track_named


@pytest.mark.parametrize("name", ALL)
def test_no_label_overlaps_another_or_the_line(name, pictures):
    picture = pictures(name)
    labels = [label for label in picture.labels.values() if label is not None]
    boxes = [shapely.box(b.left, b.bottom, b.right, b.top) for b in (one.box for one in labels)]
    leaders = [shapely.LineString(one.leader_mm) for one in labels if one.leader_mm is not None]

    assert not any(box.intersects(picture.shapes.ink) for box in boxes)
    among = np.array(boxes, dtype=object)
    # Each meets itself.
    assert shapely.STRtree(among).query(among, predicate="intersects").shape[1] == len(boxes)
    for box in boxes:
        assert sum(box.intersects(leader) and not box.touches(leader) for leader in leaders) == 0


@pytest.mark.parametrize("name", [n for n in ALL if n not in ("20 km", "hairpins")])
def test_every_gate_and_corner_is_labelled(name, pictures):
    picture = pictures(name)
    track = track_named(name)

    assert None not in picture.labels.values()
    assert len(picture.labels) == len(track.gates) + len(track.corners) + len(
        track.pit_lanes
    ) + len(track.crossovers)
    assert picture.remarks == ()


def test_labels_without_room_are_told(pictures):
    picture = pictures("20 km")
    without = [name for name, label in picture.labels.items() if label is None]

    assert 0 < len(without) < 0.2 * len(picture.labels)
    (remark,) = picture.remarks
    assert all(name in remark for name in without)
