"""The proof that the client keeps: the work, the work in its place, and what it is made of."""
