"""The timed laps of many recordings, kept as Delta tables and asked about."""
