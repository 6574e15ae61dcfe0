"""Crossings given as gates and seconds, made into laps."""

from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import laps_between

ORDER = ["finish", "one", "two"]


def crossed(*pairs):
    return [Crossing(gate, float(time), 20.0) for gate, time in pairs]


def laps(*pairs, closed=True, order=ORDER):
    return laps_between(crossed(*pairs), order, closed=closed)
