"""Names of what is kept of a timed recording; see `trackkit.timing.kept_timing`."""

from __future__ import annotations

from trackkit.motion.kept_columns import LISTS, NUMBERS, WHOLES

LINE = ("line_longitude_deg", "line_latitude_deg")
TIMING_NUMBERS = (
    *NUMBERS,
    "antenna_ahead_m",
    "line_width_m",
    "line_shift_m",
)
TIMING_TRUTHS = ("laps_tell_wander",)
TIMING_LISTS = (*LISTS, *LINE, "stood_s", "sessions_s", "rules")
TIMING_WHOLES = (*WHOLES, "endings")
