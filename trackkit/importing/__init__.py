"""A track that was edited, or laid out, in other programs."""
