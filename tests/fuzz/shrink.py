"""Make an input smaller while it still brings about the same fault."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TypeVar

Piece = TypeVar("Piece")
_WAYS = (b"\n", b"<", b",", b"{", b" ")
"""Bytes at which an input is cut into pieces, those of its structure first."""


def shrunk(data: bytes, fails: Callable[[bytes], bool], seconds: float) -> bytes:
    """Leave out pieces of an input as long as it fails (Zeller's delta debugging; from memory).

    Parameters
    ----------
    data
        An input that fails.
    fails
        Whether another does too, in the same way.
    seconds
        How long to try.
    """
    until = time.monotonic() + seconds
    before = None
    while data != before and time.monotonic() < until:
        before = data
        for mark in _WAYS:
            pieces = [piece + mark for piece in data.split(mark)]
            pieces[-1] = pieces[-1][: -len(mark)]
            data = b"".join(_fewest(pieces, lambda some: fails(b"".join(some)), until))
        if len(data) <= 4096:
            data = bytes(_fewest(list(data), lambda some: fails(bytes(some)), until))
    return data


def _fewest(
    pieces: list[Piece], fails: Callable[[Sequence[Piece]], bool], until: float
) -> list[Piece]:
    size = len(pieces) // 2
    while size >= 1:
        at = 0
        while at < len(pieces):
            if time.monotonic() >= until:
                return pieces
            fewer = pieces[:at] + pieces[at + size :]
            if fails(fewer):
                pieces = fewer
            else:
                at += size
        size //= 2
    return pieces
