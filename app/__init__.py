"""The Qt program and the command line."""
