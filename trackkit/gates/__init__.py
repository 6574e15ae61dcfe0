"""Gates placed, suggested and judged."""
