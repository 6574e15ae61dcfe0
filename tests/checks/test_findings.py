"""Findings: where they lie, and how they are accepted."""

from dataclasses import replace

import pytest
from damaged_tracks import the_only_finding, turned_ends, with_gate
from drives import block_circuit, on_earth

from trackkit.checks.check import check_track


def test_a_finding_says_where_on_the_ground(clean):
    finding = the_only_finding(with_gate(clean, "gate-a", **turned_ends(347.0, 30.0)))

    longitude, latitude = on_earth(block_circuit().at(347.0)[0])
    assert finding.position == pytest.approx((float(longitude), float(latitude)), abs=1e-6)


def test_an_accepted_finding_is_marked_and_others_of_its_rule_are_not(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    bad = with_gate(bad, "gate-a", **turned_ends(347.0, 30.0))
    entry = {"rule": "gate-not-square", "feature": "gate-b", "reason": "kerb", "date": "2024-01-01"}

    findings = check_track(replace(bad, accepted=(entry,)))

    assert [(f.feature, f.accepted) for f in findings] == [("gate-a", False), ("gate-b", True)]


def test_a_finding_about_the_whole_track_may_be_accepted(clean):
    without = replace(
        clean,
        gates=tuple(g for g in clean.gates if g.kind != "finish"),
        accepted=({"rule": "gate-missing", "feature": None, "reason": "x", "date": "2024-01-01"},),
    )

    assert the_only_finding(without).accepted
