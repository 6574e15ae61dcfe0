"""Many known tracks, and which of them a position or a drive is on."""
