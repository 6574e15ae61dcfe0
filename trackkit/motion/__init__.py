"""From a recording to the smoothed drive behind it, and how well that is known."""
