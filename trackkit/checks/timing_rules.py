"""Rules about how a gate's place affects its times: noise, speed, bends, pit lane, bridge."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.gate_places import faces_traffic, on_bridge, placed_gates
from trackkit.gates.choose import GATE_RADIUS_M, GATES_APART_M, SLOWEST_SHARE
from trackkit.gates.false_crossings import (
    RECEIVER_M,
    Passage,
    missed_probability,
    passages_nearby,
)
from trackkit.gates.quality import TimingQuality
from trackkit.gates.remedies import make_narrower, make_wider, put_elsewhere, remove_either
from trackkit.gates.suggest import APEX_CLEAR_M
from trackkit.remedies import Remedy
from trackkit.track.features import Gate
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
            continue  # The rule gate-backwards or gate-not-square reports it.
        missed = missed_probability(track, gate, chainage, receiver_m=receiver, line_m=line)
        if missed > RARE:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-missed",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} is so narrow that noise makes {_percent(missed)} of "
                "passages miss it",
                remedy=make_wider(track, gate, chainage),
            )
        crossed = track.curve.crossed_by(*track.gate_ends(gate))
        if np.any(track.curve.separation(crossed, chainage) > 1.0):
            continue  # The rule gate-crosses-other-track, or gate-on-bridge, reports it.
        for passage in passages_nearby(track, gate, chainage, receiver_m=receiver, line_m=line):
            if _rarely_wrong(passage):
                continue
            where = (
                f"at {passage.chainage_m:.0f} m"
                if passage.lane is None
                else f"in the pit lane {passage.lane}"
            )
            often = passage.lane is None and passage.probability > OFTEN

            def quiet(other: Gate, chainage: float = chainage) -> bool:
                nearby = passages_nearby(track, other, chainage, receiver_m=receiver, line_m=line)
                return all(other_passage.probability <= RARE for other_passage in nearby)

            yield new_finding(
                track,
                severity="error" if often else "warning",
                rule="gate-false-often" if often else "gate-false",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} counts {_percent(passage.probability)} of the cars that "
                f"pass {where}",
                remedy=make_narrower(track, gate, chainage, quiet),
            )


def _rarely_wrong(passage: Passage) -> bool:
    """Whether a passage hardly ever counts, or is in a pit lane that the gate lies across."""
    always = bool(passage.lane) and passage.probability >= 1.0 - RARE
    return passage.probability <= RARE or always


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %" if share < 0.1 else f"{100.0 * share:.0f} %"


def speed_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find gates in braking zones and at apexes, and a finish gate where cars are slow."""
    how = "were recorded" if quality.recorded else "are expected"
    best = float(quality.sigma_s.min())
    for gate, chainage in placed_gates(track):
        if gate.kind == "speed" or gate.kind == "start":
            continue
        slowing = -float(quality.at(quality.acceleration_mps2, chainage))
        sigma = float(quality.at(quality.sigma_s, chainage))
        uncertainty = (
            f"one sigma of a crossing is {1e3 * sigma:.0f} ms there, {1e3 * best:.0f} ms at best"
        )
        if slowing > HARD_BRAKING_MPS2 and sigma > COSTLY * best:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-braking",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} lies in a braking zone (cars {how} to slow down by "
                f"{slowing:.0f} m/s² there); {uncertainty}",
                remedy=_put_where_it_is_fast(track, gate, chainage, quality),
            )
            continue
        near = [
            bend
            for bend in quality.bends
            if bend.min_radius_m < GATE_RADIUS_M
            and float(track.curve.separation(chainage, bend.apex_m)) < NEAR_APEX_M
        ]
        speed = float(quality.at(quality.speed_mps, chainage))
        top = float(quality.speed_mps.max())
        if near:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-apex",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} lies at the apex of a corner of "
                f"{near[0].min_radius_m:.0f} m radius, where lines differ and cars are slow; "
                f"{uncertainty}",
                remedy=_put_where_it_is_fast(track, gate, chainage, quality),
            )
        elif gate.kind == "finish" and speed < SLOWEST_SHARE * top:
            yield new_finding(
                track,
                severity="note",
                rule="finish-slow",
                feature=gate.id,
                chainage_m=chainage,
                message=f"cars pass the finish gate at {3.6 * speed:.0f} km/h, less than half of "
                f"the {3.6 * top:.0f} km/h they reach; {uncertainty}",
                remedy=_put_where_it_is_fast(track, gate, chainage, quality),
            )


def _put_where_it_is_fast(
    track: Track,
    gate: Gate,
    chainage_m: float,
    quality: TimingQuality,
    where: str = "to a faster place",
) -> Remedy:
    """Move a gate to the nearest place out of braking zones and bends, where cars are fast."""
    place = quality.chainage_m
    fast = quality.speed_mps >= SLOWEST_SHARE * float(quality.speed_mps.max())
    fit = fast & ~quality.braking & (quality.sigma_s <= COSTLY * float(quality.sigma_s.min()))
    for bend in quality.bends:
        if bend.min_radius_m < GATE_RADIUS_M:
            fit &= np.asarray(track.curve.separation(place, bend.apex_m)) > APEX_CLEAR_M
    return put_elsewhere(track, gate, chainage_m, place, fit, where)


def sector_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find sectors too short for what their times are worth, and gates too close to count apart."""
    gates = [
        (gate, chainage)
        for gate, chainage in placed_gates(track)
        if gate.kind == "sector"
        or gate.kind == ("finish" if track.closed else "start")
        or (gate.kind == "finish" and not track.closed)
    ]
    gates.sort(key=lambda gate_at: gate_at[1])
    if track.closed and len(gates) > 1:
        first, chainage = gates[0]
        gates.append((first, chainage + track.curve.length_m))
    for (before, begin), (after, end) in pairwise(gates):
        if end - begin < GATES_APART_M:
            yield new_finding(
                track,
                severity="warning",
                rule="gates-close",
                feature=after.id,
                chainage_m=end,
                message=f"gates {before.name} and {after.name} are {end - begin:.1f} m apart; a "
                "receiver's noise is a good part of what is timed between them",
                remedy=remove_either(before, after),
            )
            continue
        sigma = float(np.sqrt(quality.sector_variance(begin, end)))
        time = float(quality.passed_s(end) - quality.passed_s(begin))
        if sigma > UNSURE_SHARE * time:
            yield new_finding(
                track,
                severity="warning",
                rule="sector-short",
                feature=after.id,
                chainage_m=end,
                message=f"the sector from {before.name} to {after.name} takes {time:.1f} s and is "
                f"uncertain by {1e3 * sigma:.0f} ms (one sigma), more than "
                f"{100.0 * UNSURE_SHARE:.1f} % of it",
                remedy=Remedy(
                    "move its gates apart, or to faster places that point the same way, such as "
                    "those suggested",
                    do="gate suggest",
                    value={"sectors": len(gates) - 1},
                ),
            )


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
                track,
                severity="warning",
                rule="pit-bypass",
                feature=gate.id,
                chainage_m=chainage,
                message=f"the pit lane {lane.id} leads past gate {gate.name}: {what}",
                remedy=Remedy(
                    "move it to where the pit lane is not beside the track, give it ends on both "
                    "sides of the pit lane, or accept it, for a reason",
                    do="accept",
                    feature=gate.id,
                    value={"rule": "pit-bypass"},
                ),
            )


def bridge_rule(track: Track, quality: TimingQuality) -> Iterator[Finding]:
    """Find gates on or under a declared bridge, where cars on the other level pass them too."""
    for gate, chainage in placed_gates(track):
        if on_bridge(track, gate, chainage):
            yield new_finding(
                track,
                severity="error",
                rule="gate-on-bridge",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} lies on a bridge or under it, and cars on the other "
                "level pass through it too: a receiver's position does not tell the levels apart",
                remedy=_put_where_it_is_fast(
                    track, gate, chainage, quality, "away from the bridge"
                ),
            )


GATE_QUALITY_RULES: tuple[Callable[[Track, TimingQuality], Iterator[Finding]], ...] = (
    noise_rule,
    speed_rule,
    pit_rule,
    bridge_rule,
)
"""Rules that look at each gate by itself."""
SET_QUALITY_RULES: tuple[Callable[[Track, TimingQuality], Iterator[Finding]], ...] = (sector_rule,)
"""Rules that look at all gates together."""
