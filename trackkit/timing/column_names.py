"""Names of the columns that laps, sectors, traces and crossings are told in, with their units."""

from __future__ import annotations

ALONG_LAP = (
    "chainage_m",
    "elapsed_s",
    "elapsed_sigma_s",
    "time_s",
    "longitude_deg",
    "latitude_deg",
    "height_m",
    "speed_mps",
    "speed_sigma_mps",
    "longitudinal_mps2",
    "longitudinal_sigma_mps2",
    "lateral_mps2",
    "lateral_sigma_mps2",
    "offset_m",
    "offset_sigma_m",
)
"""Of a lap, place by place."""
AT_CROSSING = (
    "time_s",
    "elapsed_s",
    "elapsed_sigma_s",
    "chainage_m",
    "longitude_deg",
    "latitude_deg",
    "speed_mps",
    "speed_sigma_mps",
    "longitudinal_mps2",
    "longitudinal_sigma_mps2",
    "lateral_mps2",
    "lateral_sigma_mps2",
    "offset_m",
    "offset_sigma_m",
)
"""Of a crossing of a gate."""
WHICH = ("track", "recording", "driver", "session", "lap")
"""Columns that say which lap a row is of."""
LAP_COLUMNS = (
    *WHICH,
    "kind",
    "complete",
    "counts",
    "begun",
    "start_s",
    "time_s",
    "sigma_s",
    "difference_s",
    "difference_sigma_s",
    "top_mps",
    "lowest_mps",
    "pit_time_s",
    "pit_speed_mps",
    "missed",
    "remarks",
    "best",
)
SECTOR_COLUMNS = (
    *WHICH,
    "kind",
    "sector",
    "gate",
    "gate_name",
    "counts",
    "begun",
    "start_s",
    "time_s",
    "sigma_s",
    "split_s",
    "difference_s",
    "difference_sigma_s",
    "top_mps",
    "lowest_mps",
    "gate_speed_mps",
    "remarks",
    "best",
)
TRACE_COLUMNS = (
    *WHICH,
    "kind",
    *ALONG_LAP[:3],
    "time_of_day",
    *(name for name in ALONG_LAP[3:] if name != "time_s"),
)
CROSSING_TEXTS = (*WHICH, "kind", "gate", "gate_name", "gate_kind")
CROSSING_COLUMNS = (*CROSSING_TEXTS, "time_of_day", *AT_CROSSING)
