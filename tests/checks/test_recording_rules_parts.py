"""Near which gates a vehicle stood, which laps count twice, and how far off it drove, by hand."""

from __future__ import annotations

import driven_block
import numpy as np
import pytest
from stand_in import StandIn

from trackkit.checks.recording_rules import _behind, _double, _lost, _off_line, _offsets, _parked
from trackkit.geometry.curve import Curve

LINE = Curve.through(np.stack([np.arange(0.0, 501.0, 5.0), np.zeros(101)], axis=1), closed=False)


@pytest.fixture(scope="module")
def block():
    return driven_block.block()


def across_the_line():
    """A gate across x = 100, from 8 m left to 8 m right of the line along y = 0."""
    gate = StandIn(width_m=16.0)
    ends = np.array([[100.0, 8.0], [100.0, -8.0]])
    return StandIn(gate_ends=lambda _: ends), gate


@pytest.mark.parametrize(
    ("x", "y", "behind_m", "near"),
    [
        (97.0, 0.0, 3.0, True),
        (103.0, 0.0, -3.0, True),
        (94.1, 0.0, 5.9, True),
        (93.9, 0.0, 6.1, False),
        (106.1, 0.0, -6.1, False),
        (100.0, 9.9, 0.0, True),
        (100.0, 10.1, 0.0, False),
        (100.0, -9.9, 0.0, True),
        (100.0, -10.1, 0.0, False),
    ],
)
def test_the_wander_carries_over_a_gate_from_six_sigmas_behind_and_two_beside(x, y, behind_m, near):
    behind, carried = _behind(*across_the_line(), np.array([[x, y]]), 1.0)

    assert behind == pytest.approx([behind_m])
    assert carried.tolist() == [near]
    # Twice the wander reaches twice as far.
    middle = np.array([[100.0 + 2.0 * (x - 100.0), y]])
    assert _behind(*across_the_line(), middle, 2.0)[1].tolist() == [near or abs(y) > 8.0]


def drive_along(aside_m, speed_mps=10.0):
    position = np.stack([np.arange(100.0, 200.0, 2.0), np.full(50, aside_m)], axis=1)
    velocity = np.tile([speed_mps, 0.0], (50, 1))
    return StandIn(position_m=position, velocity_mps=velocity, speed_mps=np.full(50, speed_mps))


@pytest.mark.parametrize(
    ("aside_m", "speed_mps", "count"),
    [(4.0, 10.0, 50), (99.0, 10.0, 50), (101.0, 10.0, 0), (-101.0, 10.0, 0), (4.0, 2.9, 0)],
)
def test_what_moves_within_a_hundred_metres_is_held_against_the_line(aside_m, speed_mps, count):
    offset = _offsets(StandIn(curve=LINE), drive_along(aside_m, speed_mps))

    assert len(offset) == count
    assert offset == pytest.approx(aside_m, abs=1e-6)


def report_of(drive=None, **more):
    usual = {"laps": (), "crossings": (), "median_s": 60.0}
    if drive is not None:
        # No laps told of it: alone it is what it is.
        drive.alone = lambda: drive
    return StandIn(**(usual | more), drive=drive)


def test_a_line_that_is_not_the_one_driven_is_told_with_how_far_it_is(block):
    recording = StandIn(name="monday")
    curve = block.curve
    at = np.arange(50.0, 250.0, 2.0)

    def findings(aside_m):
        position = curve.position(at) + aside_m * curve.left(at)
        drive = StandIn(
            position_m=position,
            velocity_mps=10.0 * curve.direction(at),
            speed_mps=np.full(len(at), 10.0),
        )
        return list(_off_line(block, recording, report_of(drive=drive)))

    assert findings(2.0) == []
    (finding,) = findings(-25.0)
    assert (finding.severity, finding.rule) == ("warning", "recording-off-line")
    assert finding.message.startswith("monday lies 25.0 m from the centreline")
    standing = drive_along(0.0, 0.0)
    assert list(_off_line(block, recording, report_of(drive=standing))) == []


def crossed(gate, *times):
    return [StandIn(gate=gate, time_s=time) for time in times]


@pytest.mark.parametrize(
    ("times", "count"),
    [((0.0, 60.0, 120.0), 0), ((0.0, 30.0, 60.0), 0), ((0.0, 29.0, 60.0, 62.0), 2)],
)
def test_a_gate_counts_twice_where_it_is_crossed_again_within_half_a_lap(block, times, count):
    gate = block.gates[1]
    report = report_of(crossings=crossed(gate.id, *times))

    findings = list(_double(block, StandIn(name="monday"), report))

    assert len(findings) == min(count, 1)
    if count:
        (finding,) = findings
        assert (finding.severity, finding.feature) == ("error", gate.id)
        assert finding.message == (
            f"monday: gate {gate.name} counted twice on a lap 2 times, first at 29.0 s"
        )
    assert list(_double(block, StandIn(name="m"), report_of(median_s=None))) == []


def lap(kind="flying", *, whole=True, time_s=60.0, missed=()):
    return StandIn(kind=kind, is_whole=whole, time_s=time_s, missed=missed)


@pytest.mark.parametrize(
    ("laps", "rules"),
    [
        ([lap()], []),
        ([], ["recording-no-lap"]),
        ([lap(whole=False)], ["recording-no-lap"]),
        ([lap("pit", whole=False)], ["recording-no-lap"]),
        ([lap(), lap(whole=False)], []),
    ],
)
def test_a_recording_without_a_whole_lap_is_told(block, laps, rules):
    findings = list(_lost(block, StandIn(name="monday"), report_of(laps=laps)))

    assert [finding.rule for finding in findings] == rules
    for finding in findings:
        assert finding.message == "monday holds no complete flying lap of this track"


def test_laps_that_all_go_through_the_pits_are_told_as_that(block):
    pits = [lap("pit", whole=False), lap("pit", whole=False), lap("pit", whole=False, time_s=None)]

    (finding,) = _lost(block, StandIn(name="monday"), report_of(laps=pits))

    assert "all 2 complete ones go through the pits" in finding.message


def test_a_missed_gate_is_told_with_on_how_many_laps(block):
    gate = block.gates[1]
    laps = [lap(missed=(gate.id,)), lap(), lap("pit", missed=(gate.id,)), lap("out", missed=("x",))]

    (finding,) = _lost(block, StandIn(name="monday"), report_of(laps=laps))

    assert (finding.rule, finding.feature) == ("recording-lost", gate.id)
    assert finding.message == f"monday: gate {gate.name} was missed on 2 of 3 laps"
    assert finding.chainage_m == gate.chainage_m


@pytest.mark.parametrize(
    ("behind_m", "seconds", "told"), [(1.0, 120, True), (1.0, 4, False), (30.0, 120, False)]
)
def test_a_vehicle_that_stands_before_a_gate_for_long_may_be_counted(
    block, behind_m, seconds, told
):
    gate = block.gates[1]
    middle = block.curve.position(gate.chainage_m - behind_m)
    time = np.arange(0.0, seconds + 3.0)
    speed = np.where(time <= seconds, 0.0, 20.0)
    drive = StandIn(
        time_s=time,
        speed_mps=speed,
        position_m=np.tile(middle, (len(time), 1)),
        levels=StandIn(wander_m=1.0, wander_time_s=120.0),
    )

    findings = list(_parked(block, StandIn(name="monday"), report_of(drive=drive)))

    assert [finding.feature for finding in findings] == ([gate.id] if told else [])
    for finding in findings:
        assert f"stood for {seconds} s so near gate {gate.name}" in finding.message
