"""Pictures of the ground: read where they lie, cut to a circuit, and laid under what is drawn."""
