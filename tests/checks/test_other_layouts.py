"""Gates on tarmac that layouts share: the same, or so near that their times look alike."""

import re
from dataclasses import replace

import pytest
from drives import block_circuit, track_of
from two_layouts import LONG, SHORT

from trackkit.checks.other_layouts import check_against, layouts_beside
from trackkit.track.file import write_track


def layout(road, *gates, name="Club", **more):
    track = track_of(road, gates=[("finish", "finish", 0.0), *gates], spacing_m=2.0, name=name)
    return replace(track, layout=name, **more)


@pytest.mark.parametrize(
    ("ahead_m", "found"),
    [(0.0, False), (0.3, False), (1.0, True), (-12.0, True), (29.0, True), (31.0, False)],
)
def test_gates_of_one_kind_near_each_other_and_not_the_same_disagree(ahead_m, found):
    one = layout(LONG, ("a", "sector", 150.0))
    other = layout(SHORT, ("b", "sector", 150.0 + ahead_m), name="Short")

    findings = list(check_against(one, other))

    assert [f.rule for f in findings] == (["gate-disagrees"] if found else [])
    if found:
        (finding,) = findings
        along, ends = (
            float(v) for v in re.findall(r"([\d.]+) m (?:from|between)", finding.message)
        )
        assert along == pytest.approx(abs(ahead_m), abs=0.1)
        assert ends == pytest.approx(abs(ahead_m), abs=0.1)
        assert "of the layout Short" in finding.message
        assert finding.chainage_m == pytest.approx(150.0, abs=0.01)
        assert finding.remedy.value["left"] == pytest.approx(list(other.gate("b").left), abs=1e-7)


def test_gates_of_two_kinds_are_not_compared():
    one = layout(LONG, ("a", "sector", 150.0))
    other = layout(SHORT, ("b", "speed", 160.0))

    assert list(check_against(one, other)) == []


def test_gates_where_the_layouts_have_parted_are_not_compared():
    # At 380 m the long one goes straight on; the short one is in or past its bend.
    one = layout(LONG, ("a", "sector", 380.0))
    other = layout(SHORT, ("b", "sector", 385.0))

    assert list(check_against(one, other)) == []


def test_the_same_tarmac_driven_the_other_way_is_not_compared():
    one = layout(block_circuit(), ("a", "sector", 694.0))
    turned = one.centreline
    back = replace(
        one,
        centreline=replace(
            turned,
            longitude_deg=turned.longitude_deg[::-1],
            latitude_deg=turned.latitude_deg[::-1],
        ),
    )
    back = replace(
        back, gates=tuple(replace(g, chainage_m=back.length_m - g.chainage_m) for g in back.gates)
    )
    moved = replace(
        back,
        gates=tuple(replace(g, chainage_m=g.chainage_m + 8.0) for g in back.gates),
    )

    assert list(check_against(one, moved)) == []


def test_layouts_beside_a_file_are_those_of_its_name_and_of_another_id(tmp_path):
    def stored(file, **more):
        track = replace(layout(LONG), revised="2024-01-01T00:00:00Z", **more)
        write_track(track, tmp_path / file)
        return track

    track = stored("one.geojson", id="one", name="Circuit")
    stored("two.geojson", id="two", name="Circuit")
    stored("copy.geojson", id="one", name="Circuit")
    stored("else.geojson", id="else", name="Elsewhere")
    (tmp_path / "broken.geojson").write_text("{", "utf-8")

    found = layouts_beside(tmp_path / "one.geojson", track)

    assert [other.id for other in found] == ["two"]
