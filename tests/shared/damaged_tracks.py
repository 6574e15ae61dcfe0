"""Tracks damaged in one way, and the finding that comes of it."""

from dataclasses import replace

import numpy as np
from drives import block_circuit, on_earth

from trackkit.checks.check import check_track


def with_gate(track, gate_id, **changes):
    """The track with one gate damaged; orders and the rest stay as they are."""
    return replace(
        track, gates=tuple(replace(g, **changes) if g.id == gate_id else g for g in track.gates)
    )


def turned_ends(chainage_m, degrees, half_m=8.0):
    """Ends of a gate that is turned by some degrees from square, anticlockwise."""
    middle, ahead = block_circuit().at(float(chainage_m))
    angle = np.radians(degrees)
    aside = np.array([-ahead[1], ahead[0]])
    aside = np.cos(angle) * aside - np.sin(angle) * ahead
    longitude, latitude = on_earth(np.array([middle + half_m * aside, middle - half_m * aside]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)
    return {"left": left, "right": right}


def the_only_finding(track):
    (finding,) = check_track(track)
    assert finding.message
    assert finding.remedy.what
    return finding
