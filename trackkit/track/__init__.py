"""A track: its model, its file, places along it, and what differs between two."""
