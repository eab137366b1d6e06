"""Paper: its sizes, how a work is divided over pages, and the marks by which they are joined."""
