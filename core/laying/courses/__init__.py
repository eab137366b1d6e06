"""The courses: how many, where, and how they bend."""
