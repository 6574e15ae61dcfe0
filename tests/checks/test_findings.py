"""Findings: where they lie, and how they are accepted."""

import re
from dataclasses import replace

import pytest
from damaged_tracks import the_only_finding, turned_ends, with_gate
from drives import block_circuit, on_earth

from trackkit.checks.check import check_track
from trackkit.checks.findings import Finding, accept_finding, marked
from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy


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


def test_a_finding_as_json_has_its_chainage_to_a_centimetre():
    remedy = Remedy("look", do="gate move", feature="a", chainage_m=12.3)
    finding = Finding("warning", "rule", "a", 12.3456, (11.0, 47.0), "it is so", remedy)

    row = finding.as_row()

    assert row["chainage_m"] == 12.35
    assert (row["remedy"], row["action"]) == ("look", remedy.as_row())
    assert replace(finding, chainage_m=None, position=None).as_row()["position"] is None


def test_findings_are_in_order_of_severity_and_then_of_the_road(clean):
    def found(severity, chainage_m):
        return Finding(severity, "rule", None, chainage_m, None, "x", Remedy("y"))

    several = [
        found("note", 1.0),
        found("warning", 900.0),
        found("error", 5.0),
        found("warning", None),
        found("error", 3.0),
        found("warning", 0.0),
    ]

    ordered = marked(clean, several)

    assert [(f.severity, f.chainage_m) for f in ordered] == [
        ("error", 3.0),
        ("error", 5.0),
        ("warning", None),
        ("warning", 0.0),
        ("warning", 900.0),
        ("note", 1.0),
    ]


def test_accepting_a_finding_is_written_with_reason_person_and_day(clean):
    bad = with_gate(clean, "gate-a", **turned_ends(347.0, 30.0))

    accepted = accept_finding(
        bad, check_track(bad), "gate-not-square", "gate-a", reason=" kerb ", by="Ada"
    )

    entry = accepted.accepted[-1]
    assert (entry["rule"], entry["feature"], entry["reason"], entry["by"]) == (
        "gate-not-square",
        "gate-a",
        "kerb",
        "Ada",
    )
    assert re.fullmatch(r"\d{4}-\d{2}-\d{2}", entry["date"])
    assert accepted.history[-1]["what"].startswith("accepted gate-not-square on gate-a")
    assert the_only_finding(accepted).accepted
    # What is accepted already, or was not found, or for no reason, is not accepted.
    for track, rule, reason, says in (
        (accepted, "gate-not-square", "kerb", "no finding gate-not-square on gate-a"),
        (bad, "datum", "kerb", "there is: gate-not-square gate-a"),
        (bad, "gate-not-square", "  ", "say why"),
    ):
        with pytest.raises(TrackkitError) as caught:
            accept_finding(track, check_track(track), rule, "gate-a", reason=reason)
        assert says in str(caught.value)


def test_a_finding_shows_its_rule_feature_and_place(clean):
    finding = the_only_finding(with_gate(clean, "gate-a", **turned_ends(347.0, 30.0)))
    assert re.match(r"Finding\(warning, gate-not-square of 'gate-a' at 34\d\.\d m: ", repr(finding))
    nowhere = replace(finding, feature=None, chainage_m=None, message="it is odd")
    assert repr(nowhere) == "Finding(warning, gate-not-square: it is odd)"
