"""Planes, geodesics, curves, grids and the antimeridian."""
