"""Findings about a track, with recordings or without."""
