"""The figure of the Earth: WGS 84 (its definition, NIMA TR8350.2; from memory).

PROJ has it too, but takes a tenth of a second to load, and what is near is found without it.
"""

from __future__ import annotations

import math

SEMI_MAJOR_AXIS_M = 6_378_137.0
SEMI_MINOR_AXIS_M = SEMI_MAJOR_AXIS_M * (1.0 - 1.0 / 298.257223563)
ECCENTRICITY_SQUARED = 1.0 - SEMI_MINOR_AXIS_M**2 / SEMI_MAJOR_AXIS_M**2
MEAN_RADIUS_M = 6_371_008.8
"""(2a + b) / 3."""
DEGREE_M = math.radians(1.0) * MEAN_RADIUS_M
"""Mean length of a degree, metres: one of a meridian, or of a parallel over the cosine of its
latitude, differs by 0.6 % at most."""
