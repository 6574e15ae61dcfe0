"""Names of what is kept of a smoothed drive; see `trackkit.motion.kept_drive`."""

from __future__ import annotations

LEVELS = {
    "jerk_m2ps5": "jerk",
    "white_m": "white_m",
    "wander_m": "wander_m",
    "wander_time_s": "wander_time_s",
    "doppler_mps": "doppler_mps",
    "slow_doppler_mps": "slow_doppler_mps",
    "slow_doppler_time_s": "slow_doppler_time_s",
}
"""Noise levels, and what `trackkit.motion.noise.Levels` calls them."""
_NODES = ("node", "node_way_mm", "node_left_urad", "node_sigma_10um", "node_tie_10um")
NUMBERS = ("plane_longitude_deg", "plane_latitude_deg", *LEVELS, "leeway_m")
WHOLES = (
    "time_us",
    "piece",
    "east_10um",
    "north_10um",
    "east_100umps",
    "north_100umps",
    "east_mmps2",
    "north_mmps2",
    "trust_ppb",
    "scale_ppm",
    "has_velocity",
    "velocity_scale_ppm",
    "heading_urad",
    *_NODES,
    "moved_um",
)
LISTS = ("line_levels", "line_levels_before")
