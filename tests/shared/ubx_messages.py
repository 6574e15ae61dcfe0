"""UBX messages of an invented drive, written by pyubx2's encoder."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from pyubx2 import GET, UBXMessage

BEGIN = datetime(2024, 5, 1, 12, tzinfo=UTC)
_WEEK_MS = 302_418_000
"""Milliseconds of the GPS week at `BEGIN`, leap seconds and all."""


def pvt(number: int, later: timedelta = timedelta(), **values: Any) -> bytes:
    """Write the NAV-PVT of one of ten fixes a second; `values` replace those of a usual one."""
    moment = BEGIN + timedelta(seconds=number / 10) + later
    usual = {
        "iTOW": _WEEK_MS + 100 * number,
        "year": moment.year,
        "month": moment.month,
        "day": moment.day,
        "hour": moment.hour,
        "min": moment.minute,
        "second": moment.second,
        "validDate": 1,
        "validTime": 1,
        "fullyResolved": 1,
        "nano": moment.microsecond * 1000,
        "fixType": 3,
        "gnssFixOk": 1,
        "lon": 161.0 + 1e-5 * number,
        "lat": 48.5,
        "hMSL": 12_500,
        "hAcc": 350,
        "velN": 3_000,
        "velE": 4_000,
        "sAcc": 60,
    }
    return bytes(UBXMessage("NAV", "NAV-PVT", GET, **{**usual, **values}).serialize())


def older_epoch(number: int) -> bytes:
    """Write what receivers without NAV-PVT send of one of five fixes a second."""
    moment = BEGIN + timedelta(seconds=number / 5)
    week = {"iTOW": _WEEK_MS + 200 * number}
    place = {"lon": 161.0 + 1e-5 * number, "lat": 48.5, "hMSL": 12_500, "hAcc": 2_500}
    clock = {"hour": moment.hour, "min": moment.minute, "sec": moment.second}
    date = {"year": moment.year, "month": moment.month, "day": moment.day, "validUTC": 1}
    messages = [
        UBXMessage("NAV", "NAV-POSLLH", GET, **week, **place),
        UBXMessage("NAV", "NAV-VELNED", GET, **week, velN=300, velE=400, sAcc=20),
        UBXMessage(
            "NAV", "NAV-TIMEUTC", GET, **week, **date, **clock, nano=moment.microsecond * 1000
        ),
    ]
    return b"".join(message.serialize() for message in messages)


def navigation(kind: int, number: int, payload: bytes) -> bytes:
    """Frame a payload as UBX, with its checksum (8-bit Fletcher, RFC 1145)."""
    body = bytes([kind, number]) + len(payload).to_bytes(2, "little") + payload
    first = second = 0
    for byte in body:
        first = (first + byte) % 256
        second = (second + first) % 256
    return b"\xb5\x62" + body + bytes([first, second])
