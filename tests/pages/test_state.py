"""What a page shows of gates and findings."""

from __future__ import annotations

import pytest
from oval_page import FINDINGS, document_of, oval

from trackkit.checks.check import check_track
from trackkit.pages.html import map_html
from trackkit.track.digest import short_digest


def test_state_lists_gates_with_chainage_and_width(page: str) -> None:
    gates = {gate["id"]: gate for gate in document_of(page, "state")["gates"]}
    assert gates["gate-k3f9"]["name"] == "Sector 1 end"
    assert gates["gate-k3f9"]["chainage_m"] == pytest.approx(343.2, abs=0.01)
    assert gates["gate-k3f9"]["width_m"] == pytest.approx(12.0, abs=0.01)


def test_findings_are_those_given_and_stand_at_their_gate(page: str) -> None:
    state = document_of(page, "state")
    assert [one["message"] for one in state["findings"]] == [one.message for one in FINDINGS]
    assert {gate["id"]: gate["findings"] for gate in state["gates"]} == {
        "finish": [],
        "gate-k3f9": [0],
    }


def test_checks_that_found_nothing_are_told_from_no_checks() -> None:
    assert document_of(map_html(oval(), findings=[]), "state")["findings"] == []
    assert document_of(map_html(oval()), "state")["findings"] is None


def test_a_page_that_checks_by_itself_lists_what_a_check_finds() -> None:
    track = oval(length_m=900.0)
    shown = document_of(map_html(track, findings="checked"), "state")["findings"]
    assert [finding["rule"] for finding in shown] == [f.rule for f in check_track(track)]
    assert "length" in [finding["rule"] for finding in shown]


def test_the_page_judges_the_track_anew_and_says_the_letters_of_its_geometry(page: str) -> None:
    verdict = document_of(page, "state")["verdict"]

    assert verdict["letters"] == short_digest(oval())
    assert verdict["fit"] is False
    assert verdict["reasons"]
    assert verdict["next"]
