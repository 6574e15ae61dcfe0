"""Headers as loggers write them."""

from __future__ import annotations

import pytest

from trackkit.recordings.csv.columns import recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("lat", ("latitude", None)),
        ("LATITUDE", ("latitude", None)),
        ("latitude_deg", ("latitude", "deg")),
        ("lat_e7", ("latitude", "1e-7 deg")),
        ("latitudeE7", ("latitude", "1e-7 deg")),
        ("lon [1e-7 deg]", ("longitude", "1e-7 deg")),
        ("GPS Longitude", ("longitude", None)),
        ("lng", ("longitude", None)),
        ("Speed (km/h)", ("speed", "km/h")),
        ("speed_kmh", ("speed", "km/h")),
        ("Speed km/h", ("speed", "km/h")),
        ("GPS Speed (mph)", ("speed", "mph")),
        ("speed_mps", ("speed", "m/s")),
        ("Ground Speed [m/s]", ("speed", "m/s")),
        ("SOG (kn)", ("speed", "knots")),
        ("speed knots", ("speed", "knots")),
        ("course_deg", ("course", "deg")),
        ("Heading", ("course", None)),
        ("Altitude (ft)", ("elevation", "ft")),
        ("hAcc_mm", ("accuracy", "mm")),
        ("HDOP", ("hdop", None)),
        ("gps_hdop", ("hdop", None)),
        ("utc", ("time", None)),
        ("UTC Time", ("time", None)),
        ("Time (UTC)", ("time", None)),
        ("time_s", ("time", "s")),
        ("timestamp_ms", ("time", "ms")),
        ("gps time", ("time", None)),
        ("Date", ("date", None)),
        ("Lateral G", None),
        ("lat acc", None),
        ("lat (g)", None),
        ("wheel speed rpm", None),
        ("Engine Speed (rpm)", None),
        ("UTC offset", None),
        ("Lap time", None),
    ],
)
def test_headers_are_recognised_with_their_units(header, expected):
    assert recognise_header(header, FIX_WORDS) == expected
