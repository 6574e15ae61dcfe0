"""What is told of widths and chainages that a file states otherwise than its positions."""

from __future__ import annotations

import driven_block
import pytest

from trackkit.checks.stated_rules import _length_of_gate
from trackkit.track.features import Disagreement


@pytest.mark.parametrize(("stated", "words"), [(21.5, "21.50"), (None, "0.00")])
def test_a_width_is_told_as_stated_and_as_its_ends_have_it(stated, words):
    track = driven_block.block()
    gate = track.gates[1]

    finding = _length_of_gate(track, gate, Disagreement(gate.id, "width_m", stated, 12.346))

    assert (finding.rule, finding.severity, finding.feature) == ("gate-width", "warning", gate.id)
    assert finding.message == (
        f"gate {gate.name} says it is {words} m wide but its ends are 12.35 m apart"
    )


def test_a_chainage_is_told_as_stated_and_where_the_gate_lies():
    track = driven_block.block()
    gate = track.gates[1]

    finding = _length_of_gate(track, gate, Disagreement(gate.id, "chainage_m", 7.25, None))

    assert (finding.rule, finding.chainage_m) == ("gate-chainage", gate.chainage_m)
    assert finding.message == (f"gate {gate.name} says 7.25 m but lies at {gate.chainage_m:.2f} m")
