"""trackkit makes, checks and shares the track files that GPS lap timing rests on."""

__version__ = "0.1.0"
