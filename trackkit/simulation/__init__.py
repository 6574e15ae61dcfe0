"""Practice recordings whose truth is known."""
