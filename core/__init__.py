"""The engine of Emblema: from a client's sketch to laid, coloured and counted tesserae.

Runs without a screen and never imports Qt or the ``app`` package. Lengths are millimetres,
with x to the right and y down from the upper left corner of the finished work.
"""

import os

# The solver's many small products are slower on several threads; fields go to several processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
