"""How many laps make a line good enough, and how findings make reasons, by numbers."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from trackkit.checks.findings import Finding
from trackkit.checks.verdict import _laps, _of_carried, _of_findings, _of_gates, _sharper
from trackkit.remedies import Remedy


def track_of(laps=(4,), *, closed=True, **more):
    sources = [{"laps": count} for count in laps]
    return SimpleNamespace(sources=sources, closed=closed, line="driven", **more)


GATE = SimpleNamespace(surveyed=True, kind="sector", name="A")


@pytest.mark.parametrize(
    ("laps", "sigma_m", "words"),
    [
        # Sigma falls with the root of the laps: 3 m are twice too much, so that 4 laps become 16.
        ((4,), 3.0, "drive 12 more laps,"),
        ((3, 1), 3.0, "drive 12 more laps,"),
        # A little too much is three laps all the same.
        ((4,), 1.6, "drive 3 more laps,"),
        # 20 are not too many, 21 are.
        ((4,), 1.5 * 6**0.5 - 1e-6, "drive 20 more laps,"),
        ((4,), 1.5 * 6**0.5 + 1e-3, "record again with a better receiver"),
        # Without any there is one.
        ((), 3.0, "drive 3 more laps,"),
        ((None,), 3.3, "drive 4 more laps,"),
    ],
)
def test_laps_that_bring_the_sigma_down_are_reckoned_by_their_root(laps, sigma_m, words):
    assert _sharper(track_of(laps), GATE, sigma_m).what.startswith(words)


@pytest.mark.parametrize(
    ("kind", "surveyed", "told"),
    [("finish", False, True), ("finish", True, False), ("sector", False, False)],
)
def test_the_finish_line_that_is_not_surveyed_is_to_be_besides(kind, surveyed, told):
    gate = SimpleNamespace(kind=kind, surveyed=surveyed, name="A")

    assert ("survey the ends of the finish line" in _sharper(track_of(), gate, 2.0).what) is told


def test_on_a_course_runs_are_driven():
    course = track_of(closed=False)

    assert "12 more runs" in _sharper(course, GATE, 3.0).what
    assert _laps(course, "drive three laps") == Remedy("drive three runs", do="build revise")
    assert _laps(track_of(), "drive three laps").what == "drive three laps"


def finding(severity, rule, *, accepted=False):
    remedy = Remedy(f"mend {rule}")
    return Finding(severity, rule, None, None, None, "is wrong", remedy, accepted)


@pytest.mark.parametrize(
    ("findings", "reasons"),
    [
        ([], []),
        ([finding("error", "a", accepted=True), finding("note", "b")], []),
        ([finding("warning", "a"), finding("error", "b")], [("1 error: b", Remedy("mend b"))]),
        (
            [finding("error", "b"), finding("error", "a"), finding("error", "b")],
            [("3 errors: b (2), a", Remedy("mend b"))],
        ),
    ],
)
def test_findings_of_one_severity_make_one_reason_with_the_first_remedy(findings, reasons):
    assert _of_findings(findings, "error") == reasons


@pytest.mark.parametrize(("carried_m", "told"), [(50.0, False), (51.0, True)])
def test_a_twentieth_of_the_line_may_bridge_gaps(carried_m, told):
    track = track_of(
        curve=SimpleNamespace(length_m=1000.0),
        centreline=SimpleNamespace(metres_of_kinds=lambda: {"carried": carried_m}),
    )

    reasons = _of_carried(track)

    assert [words for words, _ in reasons] == (
        ["51 m of the line (5 %) bridge gaps without fixes, more than 5 %"] if told else []
    )


def gates_known(*known):
    """Gates at 0, 1, 2 ... m, where the line is known to some sigma and of some kind."""
    gates = [
        SimpleNamespace(name=f"G{n}", chainage_m=n, kind=kind, surveyed=True)
        for n, (kind, *_) in enumerate(known)
    ]
    return track_of(
        gates=gates,
        centreline=SimpleNamespace(accuracy_at=lambda at: known[at][1:]),
    )


@pytest.mark.parametrize(
    ("known", "reasons"),
    [
        ([("finish", 1.5, "measured"), ("sector", 0.2, "thin")], []),
        (
            [("finish", 1.6, "measured")],
            ["the line is known to 1.6 m at gate G0, more than 1.5 m"],
        ),
        (
            [("finish", 1.6, "measured"), ("sector", 2.5, "thin"), ("speed", 1.7, "thin")],
            ["the line is known to 2.5 m at gate G1, and at 2 more gates, more than 1.5 m"],
        ),
        (
            [("finish", 0.1, "carried"), ("sector", 3.0, "drawn")],
            [
                "gate G0 lies on a stretch without fixes",
                "the drawn line is known to 3.0 m at gate G1, more than 1.5 m",
            ],
        ),
        ([("pit-entry", 9.0, "carried"), ("finish", 1.0, "measured")], []),
    ],
)
def test_gates_lie_where_the_line_is_known(known, reasons):
    found = _of_gates(gates_known(*known))

    assert [words for words, _ in found] == reasons
