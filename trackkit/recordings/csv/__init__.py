"""Recordings in delimited text."""
