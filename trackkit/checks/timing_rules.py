"""What a gate's place has to say about its times: noise, speed, bends, the pit lane, a bridge."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.gate_places import faces_traffic, on_bridge, placed_gates
from trackkit.gates.choose import GATE_RADIUS_M, GATES_APART_M, SLOWEST_SHARE
from trackkit.gates.false_crossings import RECEIVER_M, missed_probability, passages_nearby
from trackkit.gates.quality import TimingQuality
from trackkit.geometry.bends import find_bends
from trackkit.track.model import Track

RARE = 0.005
"""A false or a missed crossing more often than once in 200 laps is worth a warning."""
OFTEN = 0.2
"""A false crossing in every fifth lap makes the times wrong."""
NEAR_APEX_M = 12.0
UNSURE_SHARE = 0.012
"""Lap times vary by about 1 % (common practice, no source): a sector less sure than that cannot
tell laps apart."""
HARD_BRAKING_MPS2 = 2.5
"""Slowing down by more than this is braking rather than coasting (common practice, no source)."""
COSTLY = 2.0
"""A gate is in the wrong place where a crossing is this many times as uncertain as at best."""
SAME_PLACE_M = 0.5


def noise_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find gates that noise makes fire, or keeps from firing."""
    line = float(np.median(quality.line_sigma_m))
    receiver = max(RECEIVER_M, quality.error.sigma_m if quality.recorded else 0.0)
    for gate, chainage in placed_gates(track):
        if not faces_traffic(track, gate, chainage):
            continue  # gate-backwards or gate-not-square says so
        missed = missed_probability(track, gate, chainage, receiver_m=receiver, line_m=line)
        if missed > RARE:
            yield new_finding(
                track, "warning", "gate-missed", gate.id, chainage,
                f"gate {gate.name} is so narrow that noise makes {_percent(missed)} of passages "
                "miss it",
                f"widen it with `trackkit gate move TRACK {gate.id} {chainage:.0f}m --width M`",
            )  # fmt: skip
        crossed = track.curve.crossed_by(*track.gate_ends(gate))
        if np.any(track.curve.separation(crossed, chainage) > 1.0):
            continue  # gate-crosses-other-track, or gate-on-bridge, says so
        for one in passages_nearby(track, gate, chainage, receiver_m=receiver, line_m=line):
            if one.probability <= RARE or (one.lane and one.probability >= 1.0 - RARE):
                continue
            where = (
                f"at {one.chainage_m:.0f} m" if one.lane is None else f"in the pit lane {one.lane}"
            )
            often = one.lane is None and one.probability > OFTEN
            message = (
                f"gate {gate.name} counts {_percent(one.probability)} of the cars that pass {where}"
            )
            remedy = (
                "make it narrower with "
                f"`trackkit gate move TRACK {gate.id} {chainage:.0f}m --width M`, or move it where "
                "the track has more room"
            )
            if often:
                yield new_finding(
                    track, "error", "gate-false-often", gate.id, chainage, message, remedy
                )
            else:
                yield new_finding(
                    track, "warning", "gate-false", gate.id, chainage, message, remedy
                )


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %" if share < 0.1 else f"{100.0 * share:.0f} %"


def speed_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find gates in braking zones and at apexes, and a finish gate where cars are slow."""
    how = "were recorded" if quality.recorded else "are expected"
    bends, _ = find_bends(track.curve)
    best = float(quality.sigma_s.min())
    for gate, chainage in placed_gates(track):
        if gate.kind == "speed" or gate.kind == "start":
            continue
        slowing = -float(quality.at(quality.acceleration_mps2, chainage))
        sigma = float(quality.at(quality.sigma_s, chainage))
        told = f"one sigma of a crossing is {1e3 * sigma:.0f} ms there, {1e3 * best:.0f} ms at best"
        remedy = (
            f"move it with `trackkit gate move TRACK {gate.id} PLACE`; "
            "`trackkit gate suggest TRACK --sectors N` finds places"
        )
        if slowing > HARD_BRAKING_MPS2 and sigma > COSTLY * best:
            yield new_finding(
                track, "warning", "gate-braking", gate.id, chainage,
                f"gate {gate.name} lies in a braking zone (cars {how} to slow down by "
                f"{slowing:.0f} m/s² there); {told}",
                remedy,
            )  # fmt: skip
            continue
        near = [
            bend for bend in bends
            if bend.min_radius_m < GATE_RADIUS_M
            and float(track.curve.separation(chainage, bend.apex_m)) < NEAR_APEX_M
        ]  # fmt: skip
        speed = float(quality.at(quality.speed_mps, chainage))
        top = float(quality.speed_mps.max())
        if near:
            yield new_finding(
                track, "warning", "gate-apex", gate.id, chainage,
                f"gate {gate.name} lies at the apex of a corner of {near[0].min_radius_m:.0f} m "
                f"radius, where lines differ and cars are slow; {told}",
                remedy,
            )  # fmt: skip
        elif gate.kind == "finish" and speed < SLOWEST_SHARE * top:
            yield new_finding(
                track, "note", "finish-slow", gate.id, chainage,
                f"cars pass the finish gate at {3.6 * speed:.0f} km/h, less than half of the "
                f"{3.6 * top:.0f} km/h they reach; {told}",
                f"move it to a faster place with `trackkit gate move TRACK {gate.id} PLACE`",
            )  # fmt: skip


def sector_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find sectors too short for what their times are worth, and gates too close to count apart."""
    gates = [
        (gate, chainage) for gate, chainage in placed_gates(track)
        if gate.kind == "sector" or gate.kind == ("finish" if track.closed else "start")
        or (gate.kind == "finish" and not track.closed)
    ]  # fmt: skip
    gates.sort(key=lambda one: one[1])
    if track.closed and len(gates) > 1:
        first, chainage = gates[0]
        gates.append((first, chainage + track.curve.length_m))
    for (before, begin), (after, end) in pairwise(gates):
        if end - begin < GATES_APART_M:
            yield new_finding(
                track, "warning", "gates-close", after.id, end,
                f"gates {before.name} and {after.name} are {end - begin:.1f} m apart; a receiver's "
                "noise is a good part of what is timed between them",
                f"remove one with `trackkit gate remove TRACK {after.id}`, or move it",
            )  # fmt: skip
            continue
        sigma = float(np.sqrt(quality.sector_variance(begin, end)))
        time = float(quality.passed_s(end) - quality.passed_s(begin))
        if sigma > UNSURE_SHARE * time:
            yield new_finding(
                track, "warning", "sector-short", after.id, end,
                f"the sector from {before.name} to {after.name} takes {time:.1f} s and is "
                f"uncertain by {1e3 * sigma:.0f} ms (one sigma), more than "
                f"{100.0 * UNSURE_SHARE:.1f} % of it",
                "move its gates apart, or to faster places that point the same way",
            )  # fmt: skip


def pit_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:  # noqa: ARG001
    """Find gates that the pit lane leads past."""
    import shapely

    for lane in track.pit_lanes:
        line = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
        place, _ = track.curve.project(line[[0, -1]])
        leaves, joins = float(place[0]), float(place[1])
        reach = float(track.curve.along(leaves, joins))
        for gate, chainage in placed_gates(track):
            if gate.kind == "speed":
                continue
            ahead = float(track.curve.along(leaves, chainage))
            if not 0.0 < ahead < reach or reach > 0.7 * track.curve.length_m:
                continue
            if shapely.LineString(track.gate_ends(gate)).intersects(shapely.LineString(line)):
                continue
            what = (
                "laps through the pits are not timed"
                if gate.kind == "finish"
                else "laps through the pits lack that sector"
            )
            yield new_finding(
                track, "warning", "pit-bypass", gate.id, chainage,
                f"the pit lane {lane.id} leads past gate {gate.name}: {what}",
                "move it to where the pit lane is not beside the track, give it ends on both sides "
                f"of the pit lane, or accept it with `trackkit check TRACK --accept pit-bypass "
                f"{gate.id} --reason TEXT`",
            )  # fmt: skip


def bridge_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:  # noqa: ARG001
    """Find gates on or under a declared bridge, where cars on the other level pass them too."""
    for gate, chainage in placed_gates(track):
        if on_bridge(track, gate, chainage):
            yield new_finding(
                track, "error", "gate-on-bridge", gate.id, chainage,
                f"gate {gate.name} lies on a bridge or under it, and cars on the other level pass "
                "through it too: a receiver's position does not tell the levels apart",
                f"move it away from the bridge with `trackkit gate move TRACK {gate.id} PLACE`",
            )  # fmt: skip


GATE_QUALITY_RULES: tuple[Callable[[Track, TimingQuality], Iterator[Finding]], ...] = (
    noise_rule,
    speed_rule,
    pit_rule,
    bridge_rule,
)
"""Those of them that look at each gate by itself."""
SET_QUALITY_RULES: tuple[Callable[[Track, TimingQuality], Iterator[Finding]], ...] = (sector_rule,)
"""Those that look at all gates together."""
QUALITY_RULES = (*GATE_QUALITY_RULES, *SET_QUALITY_RULES)
"""Rules that need speeds, assumed or recorded."""
