"""Recordings and streams of NMEA 0183 sentences."""
