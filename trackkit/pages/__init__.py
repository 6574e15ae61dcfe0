"""Pages of one file that show a track, its laps and how it was built."""
