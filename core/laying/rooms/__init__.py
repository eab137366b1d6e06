"""The room of each piece: cuts along the courses, territories, and their mending."""
