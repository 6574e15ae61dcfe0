"""Ways joined into circuits and layouts, with the traps of real extracts; all are invented."""

import numpy as np
import pytest
from map_extracts import RACEWAY, MapMaker, eight, ring

from trackkit.geometry.shape import chords_of
from trackkit.open_map.circuits import MOST_LAYOUTS, layouts_of
from trackkit.open_map.extract import read_extract
from trackkit.open_map.venues import venues_of

ONE_WAY = {**RACEWAY, "oneway": "yes"}


def layouts(maker, tmp_path, name="made.osm.pbf"):
    extract = read_extract(maker.write(tmp_path / name))
    every, remarks = [], []
    for venue in venues_of(extract):
        some, more = layouts_of(venue, extract.places)
        every += some
        remarks += more
    return every, " ".join(remarks)


def around(nodes):
    return [*nodes, nodes[0]]


def turns(layout):
    return round(chords_of(layout.longitude_deg, layout.latitude_deg)[1])


def test_a_ring_without_one_way_is_offered_both_ways(tmp_path):
    maker = MapMaker()
    maker.way(around(maker.places(ring())))
    (there, back), _ = layouts(maker, tmp_path)
    assert (there.layout, back.layout) == ("anticlockwise", "clockwise")
    assert (turns(there), turns(back)) == (1, -1)
    assert there.driven == "both ways"
    assert there.longitude_deg[::-1].tolist() == back.longitude_deg.tolist()
    # A broken line every 12 m along bends of 70 m falls short by less than 1 in 1,000.
    assert there.length_m == pytest.approx(1000.0, rel=1e-3)


@pytest.mark.parametrize(("value", "turning"), [("yes", 1), ("-1", -1)])
def test_one_way_gives_the_direction(value, turning, tmp_path):
    maker = MapMaker()
    maker.way(around(maker.places(ring())), {**RACEWAY, "oneway": value})
    (layout,), _ = layouts(maker, tmp_path)
    assert (turns(layout), layout.driven, layout.layout) == (turning, "one way", "")


def test_split_ways_and_reversed_members_are_joined(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    parts = [nodes[:30], nodes[29:60], [*nodes[59:], nodes[0]]]
    maker.way(parts[0], {**ONE_WAY, "name": "Gannet Ring"})
    maker.way(parts[1][::-1], {**RACEWAY, "oneway": "-1", "name": "Gannet Ring"})
    maker.way(parts[2][::-1], {**RACEWAY, "name": "Gannet Ring"})
    (layout,), _ = layouts(maker, tmp_path)
    assert layout.name == "Gannet Ring"
    assert len(layout.ways) == 3
    assert turns(layout) == 1


def test_one_way_tags_that_contradict_each_other_are_told(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(nodes[:40], ONE_WAY)
    maker.way([*nodes[39:], nodes[0]][::-1], ONE_WAY)
    both, _ = layouts(maker, tmp_path)
    assert [turns(layout) for layout in both] == [1, -1]
    assert all("contradict" in layout.remarks[0] for layout in both)


def test_a_figure_of_eight_with_a_bridge_is_one_circuit_with_its_layers(tmp_path):
    maker = MapMaker()
    nodes = maker.places(eight())
    half = len(nodes) // 2
    across = next(i for i in range(half) if np.hypot(*eight()[i]) < 12.0)
    maker.way(nodes[across - 3 : across + 4], {**ONE_WAY, "bridge": "yes", "layer": "1"})
    maker.way([*nodes[across + 3 :], *nodes[: across - 2]], ONE_WAY)
    (layout,), _ = layouts(maker, tmp_path)
    assert turns(layout) == 0
    assert sorted(set(layout.layers)) == [0, 1]
    assert layout.layers.count(1) == 6


def test_lines_that_cross_at_a_common_node_are_driven_straight_over(tmp_path):
    maker = MapMaker()
    line = eight()
    middle = maker.place(0.0, 0.0)
    nodes = [
        middle if np.hypot(*place) < 6.0 else maker.place(*place)
        for place in line
        if np.hypot(*place) < 6.0 or np.hypot(*place) > 8.0
    ]
    if nodes.count(middle) < 2:
        first, second = sorted(range(len(line)), key=lambda i: np.hypot(*line[i]))[:2]
        nodes = maker.places(line)
        nodes[first] = nodes[second] = middle
    maker.way(around(nodes), ONE_WAY)
    (layout,), _ = layouts(maker, tmp_path)
    assert turns(layout) == 0
    assert layout.length_m == pytest.approx(1400.0, rel=0.01)


def test_two_kart_tracks_side_by_side_stay_apart(tmp_path):
    maker = MapMaker()
    for north, name in ((0.0, "North Karts"), (105.0, "South Karts")):
        nodes = maker.places(ring(600.0, 0.0, north))
        maker.way(around(nodes), {**ONE_WAY, "sport": "karting", "name": name})
    some, _ = layouts(maker, tmp_path)
    assert sorted(layout.name for layout in some) == ["North Karts", "South Karts"]


def test_a_drag_strip_is_no_circuit(tmp_path):
    maker = MapMaker()
    strip = maker.places([(40.0 * i, 0.0) for i in range(12)])
    maker.way(strip, {**RACEWAY, "name": "Quarter Mile"})
    maker.way(
        maker.places([(40.0 * i, 300.0) for i in range(12)]), {**RACEWAY, "sport": "drag_racing"}
    )
    some, remarks = layouts(maker, tmp_path)
    assert some == []
    assert "on no closed loop" in remarks
    extract = read_extract(tmp_path / "made.osm.pbf")
    assert extract.left_out == {"a drag strip, which is no circuit": 1}


def with_cut_through(maker, tags=ONE_WAY):
    nodes = maker.places(ring())
    maker.way(around(nodes), {**tags, "name": "Long Circuit"})
    # From the southern straight to the northern one, leaving and joining at an acute angle.
    cut = [nodes[12], *maker.places([(40.0, -40.0), (50.0, 0.0), (40.0, 40.0)]), nodes[55]]
    maker.way(cut, {**tags, "name": "Long Circuit"})
    return nodes


def test_a_cut_through_makes_a_shorter_layout_on_shared_tarmac(tmp_path):
    maker = MapMaker()
    with_cut_through(maker)
    some, _ = layouts(maker, tmp_path)
    assert len(some) == 2
    long, short = some
    assert long.name == short.name == "Long Circuit"
    assert long.length_m > short.length_m > 300.0
    assert long.layout == f"{long.length_m:,.0f} m"
    assert len(long.ways) == 1
    assert len(short.ways) == 2


def test_a_turn_no_car_makes_joins_nothing(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(around(nodes), ONE_WAY)
    # A way back to where it left, against the racing direction.
    maker.way([nodes[15], *maker.places([(-20.0, -55.0)]), nodes[3]], ONE_WAY)
    some, _ = layouts(maker, tmp_path)
    assert len(some) == 1


def test_a_pit_lane_by_service_is_kept_apart_from_the_loop(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(around(nodes), ONE_WAY)
    lane = [nodes[2], *maker.places([(-60.0, -58.0), (40.0, -58.0)]), nodes[20]]
    maker.way(lane, {**ONE_WAY, "service": "pit_lane"})
    (layout,), _ = layouts(maker, tmp_path)
    assert len(layout.ways) == 1
    assert [len(lane) for lane in layout.pit_lanes] == [4]


def test_a_relation_names_a_layout_and_its_roles_give_the_direction(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    first = maker.way(nodes[:40])
    second = maker.way([*nodes[39:], nodes[0]][::-1], {"highway": "service"})
    maker.relation(
        [(first, "forward"), (second, "backward")], {"type": "circuit", "name": "Harbour Course"}
    )
    (layout,), _ = layouts(maker, tmp_path)
    assert layout.name == "Harbour Course"
    assert layout.relation is not None
    assert layout.driven == "one way"
    assert turns(layout) == 1


def test_a_relation_whose_ways_are_missing_is_told(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    first = maker.way(nodes[:40])
    maker.relation([(first, ""), (99, "")], {"type": "circuit", "name": "Torn"})
    some, remarks = layouts(maker, tmp_path)
    assert some == []
    assert "lists 1 way that this extract does not have" in remarks


def test_a_hole_of_a_missing_node_is_crossed_straight_and_told(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(around(nodes), ONE_WAY)
    maker.missing.add(nodes[10])
    (layout,), remarks = layouts(maker, tmp_path)
    assert "1 hole is crossed straight, of nodes missing near way" in remarks
    assert layout.length_m == pytest.approx(1000.0, rel=1e-3)


def test_a_wide_hole_parts_the_way(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(around(nodes), ONE_WAY)
    maker.missing.update(nodes[10:20])
    some, remarks = layouts(maker, tmp_path)
    assert some == []
    assert "lacks nodes" in remarks


def test_ends_on_each_other_without_a_common_node_are_joined(tmp_path):
    maker = MapMaker()
    line = ring()
    nodes = maker.places(line)
    twin = maker.place(line[40][0] + 0.2, line[40][1])
    maker.way(nodes[:41], ONE_WAY)
    maker.way([twin, *nodes[41:], nodes[0]], ONE_WAY)
    (layout,), remarks = layouts(maker, tmp_path)
    assert turns(layout) == 1
    assert "1 end of a way lies on others without a common node near way" in remarks


def test_what_was_deleted_is_gone(tmp_path):
    maker = MapMaker()
    kept, gone = maker.places(ring()), maker.places(ring(800.0, 3000.0))
    maker.way(around(kept), {**ONE_WAY, "name": "Kept"})
    way = maker.way(around(gone), {**ONE_WAY, "name": "Gone"})
    maker.deleted.append(("w", way, 2))
    maker.deleted.append(("n", kept[5], 2))
    for name in ("made.osm.pbf", "made.osm"):
        (layout,), remarks = layouts(maker, tmp_path, name)
        assert layout.name == "Kept"
        assert "1 hole" in remarks


def test_names_in_several_scripts_are_kept(tmp_path):
    maker = MapMaker()
    names = {"name": "Плац", "name:en": "Parade Ring", "name:ja": "広場"}
    maker.way(around(maker.places(ring())), {**ONE_WAY, **names, "surface": "asphalt"})
    (layout,), _ = layouts(maker, tmp_path)
    assert layout.name == "Плац"
    assert layout.names == names
    assert layout.surface == "asphalt"


def test_widths_count_where_most_of_the_loop_has_one(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way(nodes[:60], {**ONE_WAY, "width": "10"})
    maker.way([*nodes[59:], nodes[0]], ONE_WAY)
    (layout,), _ = layouts(maker, tmp_path)
    assert layout.width_m == pytest.approx(10.0)


def test_a_circuit_across_the_antimeridian_is_whole(tmp_path):
    maker = MapMaker(origin=(180.0, -27.0))
    maker.way(around(maker.places(ring())), ONE_WAY)
    (layout,), _ = layouts(maker, tmp_path)
    assert layout.length_m == pytest.approx(1000.0, rel=1e-3)
    assert np.abs(np.diff(layout.longitude_deg)).max() < 0.01


def test_a_network_of_many_loops_gives_the_longest_and_says_so(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring(3000.0))
    maker.way(around(nodes), ONE_WAY)
    for first in range(2, 82, 12):
        # Beside the southern straight: a chicane that one may leave out.
        ahead, behind = nodes[first], nodes[first + 8]
        middle = ring(3000.0)[first + 4]
        maker.way([ahead, maker.place(middle[0], middle[1] + 15.0), behind], ONE_WAY)
    some, remarks = layouts(maker, tmp_path)
    assert len(some) == MOST_LAYOUTS
    assert "loops: the 12 longest" in remarks
    assert len({layout.longitude_deg.tobytes() for layout in some}) == MOST_LAYOUTS
