"""A circuit whose hairpin somebody cut by a chord, and the hairpin as it truly is.

The 400 m standard track of athletics, of which one half circle (radius 36.80 m) is left out.
"""

from dataclasses import replace

import numpy as np
from drives import HOME, on_earth, stadium, track_of

from trackkit.track.model import Track

ROAD = stadium()
STRAIGHT_M, RADIUS_M = 84.39, 36.80
BEGIN_M, END_M = STRAIGHT_M, STRAIGHT_M + np.pi * RADIUS_M
"""Chainages of the hairpin on the true line."""
SHORTER_M = (np.pi - 2.0) * RADIUS_M
GATES = (("finish", "finish", 40.0), ("back", "sector", 240.0))


def true_track() -> Track:
    """The circuit as it is, from mid straight."""
    return track_of(ROAD, gates=GATES, spacing_m=3.0)


def cut_track(at=HOME) -> Track:
    """The circuit with a chord across its hairpin; a lap begins at its finish gate."""
    begin = GATES[0][2]
    ahead = np.concatenate(
        [
            np.arange(begin, BEGIN_M, 3.0),
            np.arange(END_M + 1.0, ROAD.length_m + begin - 1.0, 3.0),
        ]
    )
    position, _ = ROAD.at(ahead)
    gates = [
        replace(gate, chainage_m=0.0, name_given=True) for gate in track_of(ROAD, gates=GATES).gates
    ]
    longitude, latitude = on_earth(position, at)
    return Track.from_arrays(longitude, latitude, "Cut Hairpin", gates=gates)


def on_hairpin(share):
    """Positions, degrees, at shares of the way round the hairpin, shape (n, 2)."""
    position, _ = ROAD.at(BEGIN_M + np.asarray(share) * (END_M - BEGIN_M))
    return np.column_stack(on_earth(position))
