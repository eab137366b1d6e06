"""The engine of Emblema: from a client's sketch to laid, coloured and counted tesserae.

Runs without a screen and never imports Qt or the ``app`` package. Lengths are millimetres,
with x to the right and y down from the upper left corner of the finished work.
"""
