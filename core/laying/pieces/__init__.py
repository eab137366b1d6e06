"""From rooms to pieces: shape, nips, tips, and the border."""
