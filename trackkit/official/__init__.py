"""Official times: read, paired with laps, and the line they were taken at."""
