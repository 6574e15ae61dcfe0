"""Tracks, laps and traces as frames of pandas and geopandas."""
