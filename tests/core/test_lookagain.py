"""Looking again: each fault built to a known size is found and measured; good work is let be."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy import ndimage
from shapely import Polygon

from core.commission import Commission, FlowLine, field_of
from core.errors import Stopped
from core.handwork import apply_edits
from core.lookagain import Finding, look_again, mend, mend_all, scores
from core.lookagain.finding import RULES
from core.lookagain.grout import Ground, _with_room
from core.lookagain.mends import _look_near, _near
from core.lookagain.rules import look_at
from core.material import Material
from core.pieces import LaidField, Layout, Pieces
from core.plan import Planner

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT
COLUMNS, ROWS = 9, 7


def wall(
    change: dict[int, Polygon | None] | None = None,
    shift_mm: float = 0.5,
    columns: int = COLUMNS,
    rows: int = ROWS,
) -> tuple[Commission, Layout]:
    """Courses of squares, each shifted by `shift_mm` pitches against the last, and changed.

    `change` gives a piece by its number (row times `columns` plus place) another shape, or none.
    """
    polygons, course, piece = [], [], []
    w, h = columns * PITCH, rows * PITCH
    room = shapely.box(JOINT / 2, JOINT / 2, w - JOINT / 2, h - JOINT / 2)
    for row in range(rows):
        start = -((row * shift_mm) % 1.0) * PITCH
        for k in range(columns + 1):
            x, y = start + k * PITCH + JOINT / 2, row * PITCH + JOINT / 2
            shape = shapely.box(x, y, x + TESSERA, y + TESSERA).intersection(room)
            if k < columns:
                shape = (change or {}).get(row * columns + k, shape)
            if shape is not None and shape.area > 0.3 * TESSERA**2:
                polygons.append(shape)
                course.append(row)
                piece.append(k)
    n = len(polygons)
    outline = ((((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),),)
    field = field_of("f1", "Ground", outline, tessera_mm=TESSERA, joint_mm=JOINT)
    materials = tuple(
        Material(c, "smalti", "smalti", lab)
        for c, lab in (("A", (50.0, 0.0, 0.0)), ("B", (52.0, 2.0, 0.0)), ("C", (20.0, 0.0, 60.0)))
    )
    doc = Commission("Wall", w, h, fields=(field,), materials=materials)
    pieces = Pieces(
        np.array(polygons, dtype=object), np.array(course), np.array(piece), np.zeros(n)
    )
    wanted = np.tile((50.0, 0.0, 0.0), (n, 1))
    return doc, Layout((LaidField("f1", pieces, wanted, np.zeros(n, np.int64), np.zeros(n)),))


def square(row: int, k: int, shift_mm: float = 0.5) -> Polygon:
    """The square that `wall` lays there."""
    x = -((row * shift_mm) % 1.0) * PITCH + k * PITCH + JOINT / 2
    y = row * PITCH + JOINT / 2
    return shapely.box(x, y, x + TESSERA, y + TESSERA)


def of(rule: str, found: tuple[Finding, ...]) -> list[Finding]:
    assert {f.rule for f in found} <= set(RULES)
    assert all(
        f.sentence.endswith(".") and (f.sentence[0].isupper() or f.sentence[0].isdigit())
        for f in found
    )
    return [f for f in found if f.rule == rule]


MIDDLE = 3 * COLUMNS + 4  # in the fourth course, which is shifted by half a pitch


def changed(shape: Polygon | None, rule: str) -> list[Finding]:
    doc, layout = wall({MIDDLE: shape})
    return of(rule, look_again(doc, layout))


def test_good_work_is_let_be() -> None:
    doc, layout = wall()
    assert look_again(doc, layout) == ()
    assert scores(doc, layout) == {"f1": 100.0}


def test_nothing_laid_is_no_fault() -> None:
    doc, layout = wall()
    none = LaidField("f1", Pieces.empty(), np.empty((0, 3)), np.empty(0, int), np.empty(0))
    assert look_again(doc, replace(layout, fields=(none,))) == ()


def test_sliver() -> None:
    c = square(3, 4).centroid
    [f] = changed(shapely.box(c.x - 1.7, c.y - 5, c.x + 1.7, c.y + 5), "sliver")
    assert f.measured == pytest.approx(0.34) and f.limit == 0.4 and f.unit == "tesserae"
    assert f.at_mm == pytest.approx((c.x, c.y))


def test_sharp_corner() -> None:
    x0, _, x1, y1 = square(3, 4).bounds
    [f] = changed(
        Polygon([(x0, y1), (x1, y1), (x1, y1 - 10 * np.tan(np.radians(33)))]), "sharp corner"
    )
    assert f.measured == pytest.approx(33.0)


def test_too_big_and_too_small() -> None:
    c = square(3, 4).centroid
    big = shapely.box(c.x - 7, c.y - 5.25, c.x + 7, c.y + 5.25)
    doc, layout = wall({MIDDLE: big})
    [f] = of("too big", look_again(doc, layout))
    assert f.measured == pytest.approx(1.47)
    [f] = changed(shapely.box(c.x - 3, c.y - 3, c.x + 3, c.y + 3), "too small")
    assert f.measured == pytest.approx(0.36)


def test_not_convex() -> None:
    x0, y0, x1, y1 = square(3, 4).bounds
    hollow = Polygon([(x0, y0), (x1, y0), (x1, y1), ((x0 + x1) / 2, y1 - 2), (x0, y1)])
    [f] = changed(hollow, "not convex")
    assert f.measured == pytest.approx(0.9)


def test_touching_is_one_finding_a_pair() -> None:
    moved = shapely.affinity.translate(square(3, 4), 0.9, 0.0)
    found = changed(moved, "touching")
    assert [f.measured for f in found] == pytest.approx([0.4])
    overlapping = changed(shapely.affinity.translate(square(3, 4), 3.0, 0.0), "touching")
    assert [f.measured for f in overlapping] == [0.0]


@pytest.mark.parametrize("wide", [1.2, 2.0, 2.8])
def test_wide_joint(wide: float) -> None:
    x0, y0, x1, y1 = square(3, 4).bounds
    found = changed(shapely.box(x0, y0, x1 - (wide - 1) * JOINT, y1), "wide joint")
    if wide < 1.6:
        assert not found
    else:
        assert len(found) == 2 and [f.measured for f in found] == pytest.approx([wide, wide])


def test_grout_pool() -> None:
    [f] = changed(None, "grout pool")
    # the largest disc in the room of a lifted piece: a pitch and a joint across at its narrowest
    assert f.measured * JOINT == pytest.approx(TESSERA + 2 * JOINT, rel=0.05)
    assert f.at_mm == pytest.approx(tuple(square(3, 4).centroid.coords[0]), abs=1.0)
    assert f.index == -1


def test_grout_pool_by_the_border_is_bounded_by_it() -> None:
    outline = shapely.MultiPolygon([shapely.box(0, 0, 40, 2.4)])
    polygons = np.array([shapely.box(0.75, 4, 39, 14)], dtype=object)
    # a strip 2.4 mm wide with nothing in it: with half a joint beyond each border, 2.6 joints
    width = max(p[2] for p in Ground(outline, JOINT).pools(polygons, 2.2))
    assert width == pytest.approx((2.4 + JOINT) / JOINT, abs=0.4)
    assert not Ground(outline, JOINT).pools(polygons, 3.2)


def test_pools_of_a_part_are_those_of_the_whole() -> None:
    doc, layout = wall({MIDDLE: None, 4: None})
    p = layout.fields[0].pieces.polygons
    whole = shapely.MultiPolygon([shapely.box(0, 0, doc.width_mm, doc.height_mm)])
    c = square(3, 4).centroid
    part = shapely.MultiPolygon([c.buffer(2.4 * PITCH, quad_segs=8)])
    everywhere = Ground(whole, JOINT).pools(p, 2.2)
    [here] = Ground(part, JOINT).pools(p, 2.2)
    assert len(everywhere) == 2
    assert any(here == pytest.approx(other) for other in everywhere)


@pytest.mark.parametrize("radius", [0.9, 3.0, 5.1, 8.7])
def test_room_for_a_disc_is_where_the_nearest_laid_pixel_is_beyond_it(radius: float) -> None:
    rng = np.random.default_rng(4)
    bare = np.pad(ndimage.distance_transform_edt(rng.random((90, 140)) > 0.004) > 2.5, 1)
    far = ndimage.distance_transform_edt(np.pad(bare, 1))[1:-1, 1:-1]
    expected = np.flatnonzero(far > radius)
    assert len(expected) or radius > 8
    assert np.array_equal(_with_room(bare, radius), expected)


def test_joints_in_line() -> None:
    doc, layout = wall(shift_mm=0.0, columns=3, rows=5)
    found = of("joints in line", look_again(doc, layout))
    assert len(found) == 2 and {f.measured for f in found} == {5.0}
    assert sorted(f.at_mm[0] for f in found) == pytest.approx([PITCH, 2 * PITCH])
    doc, layout = wall(shift_mm=0.0, columns=3, rows=3)
    assert not of("joints in line", look_again(doc, layout))


def test_off_the_flow() -> None:
    turned = shapely.affinity.rotate(shapely.affinity.scale(square(3, 4), 0.8, 0.8), 20)
    [f] = changed(turned, "off the flow")
    assert f.measured == pytest.approx(20.0)


def test_course_end_in_a_point() -> None:
    doc, layout = wall()
    laid = layout.fields[0]
    p = laid.pieces
    k = int(np.flatnonzero((p.course == 3) & (p.piece == 4))[0])
    x0, y0, x1, y1 = p.polygons[k].bounds
    polygons = p.polygons.copy()
    polygons[k] = Polygon([(x0, y0), (x1, (y0 + y1) / 2), (x0, y1)])
    course = p.course.copy()
    course[(p.course == 3) & (p.piece > 4)] = 90
    ended = replace(laid, pieces=Pieces(polygons, course, p.piece, p.angle_rad))
    [f] = of("course end", look_again(doc, replace(layout, fields=(ended,))))
    assert f.index == k and f.measured == pytest.approx(0.5)


def test_colour_too_far_and_alone() -> None:
    doc, layout = wall()
    laid = layout.fields[0]
    delta, stock = laid.delta_e.copy(), laid.stock.copy()
    delta[5], stock[7] = 11.5, 1
    found = look_again(doc, replace(layout, fields=(replace(laid, delta_e=delta, stock=stock),)))
    [far], [lone] = of("colour", found), of("lone colour", found)
    assert (far.index, far.measured, far.limit) == (5, 11.5, 10.0)
    assert lone.index == 7 and len(found) == 2
    kept = replace(doc, limits=replace(doc.limits, lone_piece=False, colour_delta_e=12.0))
    assert not look_again(kept, replace(layout, fields=(replace(laid, delta_e=delta),)))


def test_limits_are_the_commissions() -> None:
    c = square(3, 4).centroid
    doc, layout = wall({MIDDLE: shapely.box(c.x - 1.7, c.y - 5, c.x + 1.7, c.y + 5)})
    strict = replace(doc, limits=replace(doc.limits, sliver_tesserae=0.3))
    assert not of("sliver", look_again(strict, layout))


def test_stops_when_told() -> None:
    doc, layout = wall()
    with pytest.raises(Stopped):
        look_again(doc, layout, stop=lambda: True)


def test_score_counts_pieces_not_findings() -> None:
    moved = shapely.affinity.translate(square(3, 4), 3.0, 0.0)
    doc, layout = wall({MIDDLE: moved})
    found = look_again(doc, layout)
    n = len(layout)
    pieces = len({f.index for f in found})
    assert pieces < len(found)
    assert scores(doc, layout, found)["f1"] == pytest.approx(100 * (1 - pieces / n))


# --- mends -------------------------------------------------------------------------------------


def after(doc: Commission, layout: Layout) -> Layout:
    """The layout with the document's edits done, all in the first material."""
    laid = layout.fields[0]
    pieces, hand, dropped = apply_edits(doc.fields[0], laid.pieces, doc.edits)
    assert not dropped
    n = len(pieces)
    codes = [m.code for m in doc.materials]
    stock = np.array([codes.index(h) if h else 0 for h in hand])
    return Layout((LaidField("f1", pieces, np.tile((50.0, 0, 0), (n, 1)), stock, np.zeros(n)),))


def mended(change: Polygon | None, rule: str) -> None:
    """Mend the fault in the middle: gone, and no other in its place."""
    doc, layout = wall({MIDDLE: change})
    found = look_again(doc, layout)
    done = mend(doc, layout, of(rule, found)[0])
    assert done.done, done.reason
    left = look_again(done.doc, after(done.doc, layout))
    assert len(left) < len(found)
    assert not of(rule, left)
    assert {f.rule for f in left} <= {f.rule for f in found}


def test_a_neighbours_fault_is_not_made_worse() -> None:
    """No piece may grow at the cost of another rule, however many mends are made."""
    x0, y0, x1, y1 = square(3, 4).bounds
    wide = shapely.box(x0, y0, x1 + 4.2, y1)  # too big, and what is left of the next too small
    scrap = shapely.box(x1 + 4.2 + JOINT, y0, x1 + PITCH, y1)
    doc, layout = wall({MIDDLE: wide, MIDDLE + 1: scrap})
    found = look_again(doc, layout)
    assert {"too big"} <= {f.rule for f in found}
    done, _ = mend_all(doc, layout, found)
    left = look_again(done, after(done, layout))
    worst = {f.rule: f.measured for f in found if f.rule == "too big"}
    assert all(f.measured <= worst["too big"] * 1.05 for f in of("too big", left))
    assert len(left) < len(found)


def test_a_bare_place_is_filled() -> None:
    mended(None, "grout pool")


def test_a_narrow_piece_grows() -> None:
    x0, y0, x1, y1 = square(3, 4).bounds
    mended(shapely.box(x0, y0, x1 - 1.5 * JOINT, y1), "wide joint")


def test_a_turned_piece_is_turned_back() -> None:
    turned = shapely.affinity.rotate(shapely.affinity.scale(square(3, 4), 0.85, 0.85), 18)
    mended(turned, "off the flow")


def test_a_piece_that_touches_is_trimmed() -> None:
    mended(shapely.affinity.translate(square(3, 4), 0.9, 0.0), "touching")


def test_a_hollow_piece_is_filled_out() -> None:
    x0, y0, x1, y1 = square(3, 4).bounds
    mended(Polygon([(x0, y0), (x1, y0), (x1, y1), ((x0 + x1) / 2, y1 - 2), (x0, y1)]), "not convex")


def test_a_lone_piece_takes_its_neighbours_material() -> None:
    doc, layout = wall()
    laid = layout.fields[0]
    stock = laid.stock.copy()
    stock[20] = 1
    layout = replace(layout, fields=(replace(laid, stock=stock),))
    [f] = look_again(doc, layout)
    done = mend(doc, layout, f)
    assert done.done and done.doc.edits[0].material == "A"
    # but not where that is too far from the colour wanted
    stock[:] = 2
    stock[20] = 1
    wanted = laid.wanted_lab.copy()
    far = replace(doc, limits=replace(doc.limits, colour_delta_e=10.0))
    layout = replace(layout, fields=(replace(laid, stock=stock, wanted_lab=wanted),))
    done = mend(far, layout, of("lone colour", look_again(far, layout))[0])
    assert not done.done and done.reason


def test_what_is_gone_is_not_mended() -> None:
    doc, layout = wall({MIDDLE: None})
    [f] = of("grout pool", look_again(doc, layout))
    done = mend(doc, wall()[1], f)
    assert not done.done and done.doc is doc and "no longer" in done.reason


# --- real layouts ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def real() -> tuple[Commission, Layout]:
    """A wavy band and a disc in a ground, as the solver lays them."""
    x = np.linspace(0, 260, 60)
    disc = shapely.Point(200, 60).buffer(32, quad_segs=12)
    band = Polygon(
        np.r_[np.c_[x, 110 + 14 * np.sin(x / 40)], np.c_[x, 150 + 14 * np.sin(x / 40)][::-1]]
    )
    ground = shapely.box(0, 0, 260, 180).difference(disc).difference(band)
    shapes = {"Disc": disc, "Band": band, "Ground": ground}
    fields = []
    for k, (name, shape) in enumerate(shapes.items()):
        parts = tuple(
            tuple(
                tuple((float(a), float(b)) for a, b in ring.coords[:-1])
                for ring in (g.exterior, *g.interiors)
            )
            for g in shapely.get_parts([shape]).tolist()
        )
        fields.append(field_of(f"f{k}", name, parts, tessera_mm=9.0, joint_mm=1.4))
    line = FlowLine("l1", tuple((float(a), float(130 + 14 * np.sin(a / 40))) for a in x[::6]))
    doc = Commission("Wall", 260, 180, fields=tuple(fields), flow_lines=(line,))
    planner = Planner()
    try:
        return doc, planner.layout(doc, {})
    finally:
        planner.close()


def test_a_good_layout_is_mostly_let_be(real: tuple[Commission, Layout]) -> None:
    doc, layout = real
    found = look_again(doc, layout)
    assert len(found) < 0.06 * len(layout)
    assert not of("touching", found) and not of("not convex", found)
    for f in found:
        shape = layout.by_id(f.field_id).pieces.polygons[f.index] if f.index >= 0 else None
        assert shape is None or shape.distance(shapely.Point(f.at_mm)) < PITCH


def test_mending_all_leaves_fewer_and_no_worse(real: tuple[Commission, Layout]) -> None:
    doc, layout = real
    before = look_again(doc, layout)
    done, count = mend_all(doc, layout, before)
    planner = Planner()
    try:
        anew = planner.layout(done, {})
    finally:
        planner.close()
    left = look_again(done, anew)
    assert anew.dropped == ()
    assert count > 0 and len(left) <= len(before) - count
    assert not of("touching", left) and not of("not convex", left)
    old, new = scores(doc, layout, before), scores(done, anew, left)
    assert all(new[k] >= old[k] - 1e-9 for k in old)
    with pytest.raises(Stopped):
        mend_all(doc, layout, before, stop=lambda: True)


def test_a_look_near_places_finds_what_a_look_at_all_does(
    real: tuple[Commission, Layout],
) -> None:
    doc, layout = real
    strict = replace(doc, limits=replace(doc.limits, wide_joint=1.2, too_big_times=1.2))
    number = 0
    for laid in layout.fields:
        p = laid.pieces
        keep = np.arange(len(p)) % 17 > 0  # bare places too
        lifted = replace(
            laid,
            pieces=Pieces(p.polygons[keep], p.course[keep], p.piece[keep], p.angle_rad[keep]),
            wanted_lab=laid.wanted_lab[keep],
            stock=laid.stock[keep],
            delta_e=laid.delta_e[keep],
        )
        field = strict.field_by_id(laid.field_id)
        everything = look_at(strict, field, lifted)
        places = [(float(x), float(y)) for x, y in p.centre_mm[[3, len(p) // 2]]]
        near = _look_near(strict, lifted, places)
        far = 6 * (field.laying.tessera_mm + field.laying.joint_mm)
        expected = [f for f in everything if _near(f, places, far)]
        assert [(f.rule, f.index, f.other) for f in near] == [
            (f.rule, f.index, f.other) for f in expected
        ]
        for f, g in zip(near, expected, strict=True):
            assert (*f.at_mm, f.measured) == pytest.approx((*g.at_mm, g.measured))
        number += len(near)
    assert number > 30


def test_mends_among_very_many_pieces() -> None:
    doc, layout = wall({MIDDLE: None, 77 * 160 + 80: None}, columns=160, rows=125)
    found = look_again(doc, layout)
    assert len(found) >= 2
    _, count = mend_all(doc, layout, found)
    assert count >= 2


def test_nothing_is_found_among_twenty_thousand_sound_pieces() -> None:
    doc, layout = wall(columns=160, rows=125)
    assert len(layout) > 20_000
    assert look_again(doc, layout) == ()
