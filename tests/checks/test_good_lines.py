"""Nothing is found in lines that are as they should be."""

import pytest
from drives import block_circuit, drive
from good_lines import good_lines

from trackkit.building.build import build_track
from trackkit.checks.evaluate import LINE_FINDING_RULES
from trackkit.checks.stated_rules import STATED_RULES

GOOD = dict(good_lines())


def test_there_are_many_shapes_of_good_lines():
    assert len(GOOD) >= 30


@pytest.mark.slow
@pytest.mark.parametrize("name", GOOD)
def test_no_rule_about_lines_finds_anything_in_a_good_one(name):
    track = GOOD[name]()

    findings = [f for rule in (*LINE_FINDING_RULES, *STATED_RULES) for f in rule(track)]

    assert findings == []


@pytest.mark.slow
@pytest.mark.parametrize(("rate_hz", "doppler"), [(1, True), (1, False), (5, True), (25, False)])
def test_nothing_is_found_in_a_line_built_from_a_recording_of_any_rate(rate_hz, doppler):
    outing = drive(block_circuit(), begin_m=20.0, laps=2.3, cruise=20.0)
    recording = outing.recording(rate_hz, doppler=doppler, noise=1.0, seed=rate_hz)
    track = build_track([recording], "Invented").track

    findings = [f for rule in (*LINE_FINDING_RULES, *STATED_RULES) for f in rule(track)]

    assert findings == []
