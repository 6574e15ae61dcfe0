"""Features that somebody drew, with fields and without times, in formats of maps and drawings."""
