"""Circuits drawn in open map data, made into tracks of a library."""
