"""A track in other open formats."""
