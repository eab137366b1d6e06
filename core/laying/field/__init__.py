"""Where courses run in a field: its own frame, a grid, the direction and the phase."""
