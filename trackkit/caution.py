"""Cautions, each said where its danger is.

DEVELOPERS.md tells which danger, which moment and which places each is for; a test holds the
places to it.
"""

from __future__ import annotations

FORBIDDEN = "Time nothing where the organiser or the insurer forbids it."
CAUTION = (
    "Nobody handles a phone, a logger or any other device while driving: set it up before you "
    "leave and read it once you have stopped. "
    "Record or walk a circuit only with the leave of whoever runs it, and follow the marshals' "
    "instructions. "
    f"{FORBIDDEN} "
    "Times taken by GPS are for training; officiating belongs to the licensed timekeepers. "
    "Do not use this for timing on public roads."
)
"""Goes with every track file: said when one is first made, and on every page of one."""
AGAIN = "Nobody handles a device while driving; times are for training, not for officiating."
"""For a track file that is made anew, whose maker has read the whole."""
TRAINING = "GPS times are for training, not for officiating."
RECEIVER = "Set the receiver going before you leave, and read the answer when you stand."
EDGES = (
    "Drive or walk along the edges only while the circuit is closed to all other traffic, with the "
    "leave of whoever runs it, at walking pace, and with somebody who keeps watch."
)
ENDS = (
    "Leave receivers on the ends of a gate only while the circuit is closed, with the leave of "
    "whoever runs it, and take them away before it opens."
)
CLOSED_ROADS = (
    "Drive it only on roads that are closed to all other traffic, with the leave of whoever runs "
    "the event."
)
PLAN = "This is not the circuit's official plan: where the two differ, that one is right."
TILES_PRIVACY = (
    "Whoever serves them learns who opens the page, when, and which places they look at."
)
