"""Laps: crossings of gates, lap and sector times, best times and traces."""
