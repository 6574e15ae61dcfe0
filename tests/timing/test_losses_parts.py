"""Sections of a lap and rows of losses, by corners laid out by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from trackkit.timing import losses as module
from trackkit.timing.losses import Loss, Section, SessionSections, losses_to, sections_of
from trackkit.timing.section_speeds import SectionSpeeds


def corner(number, entry_m, apex_m, exit_m, name=""):
    return SimpleNamespace(number=number, name=name, entry_m=entry_m, apex_m=apex_m, exit_m=exit_m)


def told(*corners, closed=True, length_m=1000.0, ends=None, monkeypatch):
    track = SimpleNamespace(
        closed=closed, corners=corners, curve=SimpleNamespace(length_m=length_m)
    )
    monkeypatch.setattr(module, "lap_ends_m", lambda _: ends or (0.0, length_m))
    return [(s.kind, s.name, s.begin_m, s.end_m) for s in sections_of(track)]


def test_a_lap_is_straights_and_ways_into_and_out_of_corners(monkeypatch):
    second = corner(2, 600.0, 650.0, 700.0, "Dip")

    assert told(second, corner(1, 100.0, 120.0, 180.0), monkeypatch=monkeypatch) == [
        ("straight", "after Dip", 0.0, 100.0),
        ("corner entry", "corner 1", 100.0, 120.0),
        ("corner exit", "corner 1", 120.0, 180.0),
        ("straight", "after corner 1", 180.0, 600.0),
        ("corner entry", "Dip", 600.0, 650.0),
        ("corner exit", "Dip", 650.0, 700.0),
        ("straight", "after Dip", 700.0, 1000.0),
    ]


def test_a_corner_across_the_finish_is_cut_there(monkeypatch):
    across = corner(1, 960.0, 1010.0, 1050.0)

    assert told(across, monkeypatch=monkeypatch) == [
        ("corner entry", "corner 1", 0.0, 10.0),
        ("corner exit", "corner 1", 10.0, 50.0),
        ("straight", "after corner 1", 50.0, 960.0),
        ("corner entry", "corner 1", 960.0, 1000.0),
    ]


@pytest.mark.parametrize(
    ("closed", "name"), [(True, "after the finish"), (False, "after the start")]
)
def test_without_corners_all_is_one_straight(closed, name, monkeypatch):
    assert told(closed=closed, monkeypatch=monkeypatch) == [("straight", name, 0.0, 1000.0)]


def test_a_course_begins_with_a_straight_and_goes_from_gate_to_gate(monkeypatch):
    only = corner(1, 300.0, 350.0, 400.0)

    assert told(only, closed=False, ends=(20.0, 900.0), monkeypatch=monkeypatch) == [
        ("straight", "after corner 1", 20.0, 300.0),
        ("corner entry", "corner 1", 300.0, 350.0),
        ("corner exit", "corner 1", 350.0, 400.0),
        ("straight", "after corner 1", 400.0, 900.0),
    ]


def loss(**more):
    own = SectionSpeeds(20.0, math.nan, None, 0.5, math.nan, None)
    other = SectionSpeeds(21.0, 25.0, 133.3, 0.4, 0.3, 1.5)
    return Loss(Section("straight", "after Dip", 12.345, 99.996), 0.25, 0.01, own, other, **more)


def test_a_loss_as_json_has_both_laps_speeds_and_null_for_what_is_not_known():
    assert loss().as_row() == {
        "kind": "straight",
        "name": "after Dip",
        "begin_m": 12.35,
        "end_m": 100.0,
        "time_s": 0.25,
        "sigma_s": 0.01,
        "least_mps": 20.0,
        "end_mps": None,
        "least_sigma_mps": 0.5,
        "end_sigma_mps": None,
        "braking_m": None,
        "braking_sigma_m": None,
        "reference_least_mps": 21.0,
        "reference_end_mps": 25.0,
        "reference_least_sigma_mps": 0.4,
        "reference_end_sigma_mps": 0.3,
        "reference_braking_m": 133.3,
        "reference_braking_sigma_m": 1.5,
    }
    assert repr(loss()) == "Loss('after Dip', +0.250 ±0.010 s)"


def test_a_lap_that_is_not_whole_or_is_held_against_none_has_no_losses(monkeypatch):
    laid_out = [
        SessionSections((), {(1, 1): "a", (1, 2): "b"}, None),
        SessionSections((), {(1, 1): "c"}, None),
    ]
    first, second = (SimpleNamespace(name=name) for name in "xy")
    monkeypatch.setattr(module, "losses", lambda *given: given)

    def asked(session, number, reference_session, reference_number):
        reference = SimpleNamespace(
            session=reference_session, lap=SimpleNamespace(session=1, number=reference_number)
        )
        lap = SimpleNamespace(session=1, number=number)
        return losses_to(reference, [first, second], laid_out, session, lap)

    assert asked(first, 2, second, 1) == (laid_out[0], (1, 2), laid_out[1], (1, 1))
    assert asked(first, 3, second, 1) is None
    assert asked(first, 2, second, 2) is None
