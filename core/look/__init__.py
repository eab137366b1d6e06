"""What the laid work looks like in its materials: faces, finish, tilt by hand, sunk joints, light.

All of it is reckoned from the pieces and their materials, with no photograph, and hangs on each
piece alone, so that any part of the work at any scale shows the same pieces.
"""
