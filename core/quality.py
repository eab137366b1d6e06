"""What a good piece, joint, course and field is: every limit of the craft, once.

The solver lays within these limits and Look again names what is beyond them; a commission may
choose its own (`core.commission.Limits`). Unless something else is said they are common practice.
Lengths are in tesserae, joints or pitches (tessera and joint together), as each says.
"""

from __future__ import annotations

import numpy as np

# a piece
SHARP_DEG = 40.0  # a sharper corner chips and draws the eye
TIP_DEG = 60.0  # a sharper corner of a field forces a sharp piece: no limit is held against that
SLIVER = 0.4  # tesserae across: what is narrower breaks, or shows as a line
CONVEX = 0.985  # of its hull: what fills less is hollow, and cannot be nipped
TOO_BIG, TOO_SMALL = 1.34, 0.4  # times its neighbours: a third more shows, less cannot be held
LEAST_PIECE = 0.02  # squares of the tessera: what is smaller is a crumb that a trim left

# a piece's room, before its joint
THIN = 0.55  # pitches across: less the joint, a little more than a sliver
BARE_ROOM = 0.06  # squares of the pitch that a piece may leave bare in it: the grout then shows

# a joint, in joints
EVEN_JOINT = (0.6, 1.6)  # what lies between looks as wide as the others
TOUCHING = 0.5  # a narrower one cannot be filled
POOL = 2.2  # across: the grout shows as a spot

# a course
TURN_DEG = 10.0  # from piece to piece: a ring of 36, the smallest that looks round
TURNING = 0.2  # share of the joints of a field at which its courses may turn more
HIGH = (0.62, 1.5)  # pitches: a course may be as low, or as high, where a gap asks for it
END = 0.6  # times its neighbours: a smaller piece at a course's end is a scrap
IN_LINE = 0.15  # pitches within which a joint stands in line with one of the course beside
AT_RANDOM = 2 * IN_LINE  # share of joints that stand in line if nobody looks: to either side
RUN_ON = 0.12  # pitches: nearer joints lead the eye from course to course
MOST_RUN_ON = 3  # courses: it is noticed beyond

# a field
UNEVEN = 0.14  # spread of sizes, as a share of their mean
UNEVEN_LENGTHS = 0.12  # the same of lengths alone, since heights add to it
LIKE = 0.1  # spread of lengths asked for by hand up to which pieces are still to be alike
BARE = 0.03  # share of what whole tesserae would cover that is grout beyond the joints
ODD = 0.2  # share of pieces with other than four corners
OFF_FLOW_DEG = 4.0  # of pieces beside a flow line, as a mean square
PIECE_OFF_FLOW_DEG = 15.0  # of one piece

# The solver keeps clear of a limit by a margin, stated here alone. Tips, the border's trim and
# rounding come after what it measures: in 28 unseen fields they moved the turn of courses by at
# most 0.03 degrees, and shares of pieces by a thousandth. The rest is for a field of few pieces,
# where one that changes sides is some hundredths of all.
_CLEAR = 1.05  # times a limit of one piece
_WITHIN = 0.95  # of a share of a field's pieces or joints: one in a hundred of all
OWN_SHARP_DEG, OWN_SLIVER = _CLEAR * SHARP_DEG, _CLEAR * SLIVER
OWN_TURNING, OWN_ODD = _WITHIN * TURNING, _WITHIN * ODD
TURN_LIMIT = np.radians(0.97 * TURN_DEG)  # about a ring of 37
