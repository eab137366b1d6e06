"""Time: what is laid and what is left, the days it takes, and the calendar of them."""
