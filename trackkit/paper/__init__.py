"""A track on a sheet of paper."""
