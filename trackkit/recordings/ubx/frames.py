"""Where a stream of bytes holds whole UBX messages.

A message is B5 62, class, number, length (two bytes, the lower first), payload and a checksum of
two bytes over all between: the 8-bit Fletcher algorithm of RFC 1145 (u-blox interface descriptions,
"UBX frame structure"; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Indices

SYNC = (0xB5, 0x62)
HEADER_BYTES, CHECKSUM_BYTES = 6, 2


@dataclass(frozen=True, eq=False)
class Frames:
    """The whole messages of a stream, none inside another.

    Parameters
    ----------
    data
        The stream, shape (size,).
    begin, end
        Where each begins and ends, shape (n,); its payload lies between its header and checksum.
    kind
        Class times 256 plus number, shape (n,).
    damaged
        Where messages begin that are cut off or have a wrong checksum.
    """

    data: NDArray[np.uint8]
    begin: Indices
    end: Indices
    kind: Indices
    damaged: Indices

    def only(self, *kinds: int) -> Frames:
        """Keep the messages of some kinds."""
        chosen = np.isin(self.kind, kinds)
        begin, end, kind = self.begin[chosen], self.end[chosen], self.kind[chosen]
        return Frames(self.data, begin, end, kind, self.damaged)

    def between(self) -> bytes:
        """Return what stands between the messages."""
        first = np.concatenate([[0], self.end])
        last = np.append(self.begin, len(self.data))
        gap = np.flatnonzero(last > first)
        return b"".join(self.data[first[n] : last[n]].tobytes() for n in gap.tolist())


def frames_of(stream: bytes) -> Frames:
    """Find the whole messages of a stream.

    The sums of the checksum are differences of running sums of all bytes, modulo 256, so that any
    number of messages is checked at once.
    """
    data = np.frombuffer(stream, dtype=np.uint8)
    begin = np.flatnonzero((data[:-1] == SYNC[0]) & (data[1:] == SYNC[1]))
    room = begin + HEADER_BYTES + CHECKSUM_BYTES <= len(data)
    cut, begin = begin[~room], begin[room]
    length = data[begin + 4].astype(np.intp) + 256 * data[begin + 5].astype(np.intp)
    end = begin + HEADER_BYTES + length + CHECKSUM_BYTES
    room = end <= len(data)
    cut = np.concatenate([begin[~room], cut])
    begin, end = begin[room], end[room]
    right = _has_right_checksum(data, begin, end)
    cut = np.concatenate([begin[~right], cut])
    begin, end = _apart(begin[right], end[right])
    kind = 256 * data[begin + 2].astype(np.intp) + data[begin + 3]
    before = np.searchsorted(begin, cut, side="right") - 1
    inside = (before >= 0) & (cut < np.append(end, 0)[before]) if len(begin) else cut < 0
    return Frames(data, begin, end, kind, np.sort(cut[~inside]))


def has_frame(stream: bytes) -> bool:
    """Say whether a stream holds a whole message."""
    return len(frames_of(stream).begin) > 0


def _has_right_checksum(data: NDArray[np.uint8], begin: Indices, end: Indices) -> NDArray[np.bool_]:
    place = np.resize(np.arange(256, dtype=np.uint8), len(data))
    first = _running(data)
    # The second sum counts each byte as often as there are bytes from it to the end.
    second = _running(data * place)
    one, other = begin + 2, end - CHECKSUM_BYTES
    sum_a = first[other] - first[one]
    sum_b = other.astype(np.uint8) * sum_a - (second[other] - second[one])
    return np.asarray((sum_a == data[other]) & (sum_b == data[other + 1]))


def _running(values: NDArray[np.uint8]) -> NDArray[np.uint8]:
    total = np.zeros(len(values) + 1, dtype=np.uint8)
    np.cumsum(values, dtype=np.uint8, out=total[1:])
    return total


def _apart(begin: Indices, end: Indices) -> tuple[Indices, Indices]:
    """Leave out what looks like a message inside another one's payload."""
    if np.all(begin[1:] >= end[:-1]):
        return begin, end
    kept, until = [], 0
    for place, (first, last) in enumerate(zip(begin.tolist(), end.tolist(), strict=True)):
        if first >= until:
            kept.append(place)
            until = last
    return begin[kept], end[kept]
