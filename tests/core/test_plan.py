"""What is derived from a commission: a field that cannot be laid is named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.commission import Commission, field_of
from core.errors import EmblemaError
from core.plan import Planner

WALL = (((0.0, 0.0), (90.0, 0.0), (90.0, 90.0), (0.0, 90.0)),)
NOTHING = (((0.0, 0.0), (90.0, 0.0), (45.0, 0.0)),)


@pytest.mark.parametrize("large", [False, True], ids=["one after the other", "side by side"])
def test_the_field_that_cannot_be_laid_is_named_and_the_others_stay(large: bool) -> None:
    size = 400.0 if large else 90.0
    wall = tuple(tuple((x * size / 90, y * size / 90) for x, y in ring) for ring in WALL)
    ground = field_of("f1", "Ground", (wall,), tessera_mm=9.0, joint_mm=1.0)
    line = field_of("f2", "Water line", (NOTHING,), tessera_mm=9.0, joint_mm=1.0)
    doc = Commission("Wall", size, size, fields=(ground, line))
    planner = Planner()
    try:
        with pytest.raises(EmblemaError, match="Water line cannot be laid. The outline encloses"):
            planner.layout(doc, {})
        mended = replace(doc, fields=(ground, replace(line, outline=(WALL,))))
        layout = planner.layout(mended, {})
        assert [len(f.pieces) > 50 for f in layout.fields] == [True, True]
    finally:
        planner.close()
