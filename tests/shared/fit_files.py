"""FIT files written for tests: header, definitions, messages and checksums of the protocol.

The layout is that of the FIT protocol (from memory); fitdecode, which reads it, writes none.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

SEMICIRCLES = 2**31 / 180.0
EPOCH_S = 631_065_600
"""Seconds from 1970 to 31 December 1989, from which FIT counts."""
RECORD, EVENT, GPS_METADATA = 20, 21, 160
_TYPES = {"b": 0x01, "B": 0x02, "h": 0x83, "H": 0x84, "i": 0x85, "I": 0x86}
"""Base types by their letters in `struct`."""
_CRC = (
    0x0000,
    0xCC01,
    0xD801,
    0x1400,
    0xF001,
    0x3C00,
    0x2800,
    0xE401,
    0xA001,
    0x6C00,
    0x7800,
    0xB401,
    0x5000,
    0x9C01,
    0x8801,
    0x4400,
)


def checksum(data: bytes) -> int:
    """Reckon the CRC of the FIT protocol."""
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            step = _CRC[crc & 0xF]
            crc = (crc >> 4) & 0x0FFF
            crc ^= step ^ _CRC[nibble]
    return crc


def message(number: int, fields: Sequence[tuple[int, str, int]], local: int = 0) -> bytes:
    """Write a message with its definition; fields are number, type as of `struct`, and value."""
    definition = struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields))
    definition += b"".join(
        struct.pack("<3B", field, struct.calcsize(f"<{kind}"), _TYPES[kind[-1]])
        for field, kind, _ in fields
    )
    values = b"".join(
        struct.pack(f"<{kind}", *[value] * int(kind[:-1] or 1)) for _, kind, value in fields
    )
    return definition + bytes([local]) + values


def fit_file(messages: Sequence[bytes]) -> bytes:
    """Put messages into a file."""
    body = b"".join(messages)
    head = struct.pack("<2BHI4s", 14, 0x20, 2100, len(body), b".FIT")
    head += struct.pack("<H", checksum(head))
    return head + body + struct.pack("<H", checksum(head + body))


def record(
    time_s: float, longitude_deg: float, latitude_deg: float, speed_mps: float = 10.0
) -> bytes:
    """Write a `record` with a position, height, enhanced speed and accuracy."""
    return message(
        RECORD,
        [
            (253, "I", int(time_s) - EPOCH_S),
            (0, "i", round(latitude_deg * SEMICIRCLES)),
            (1, "i", round(longitude_deg * SEMICIRCLES)),
            (78, "I", (100 + 500) * 5),
            (73, "I", round(speed_mps * 1000)),
            (31, "B", 4),
        ],
    )
