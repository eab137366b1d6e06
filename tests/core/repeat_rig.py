"""What the tests of repeats share: a panel with a small motif of two fields, laid and repeated."""

from dataclasses import replace

import numpy as np
import shapely

from core.checks import check_document
from core.commission import Commission, HandEdit, add_flow_line, change_field, field_of
from core.coverage import polygons_of
from core.fields import add_outline
from core.geometry import polygon_of
from core.repeats import Wish, add_repeat, arranged, carry

WIDE, HIGH = 400.0, 300.0
LEAF = [(95.0, 120.0), (130.0, 108.0), (140.0, 140.0), (104.0, 152.0)]
EYE = [(106.0, 122.0), (122.0, 122.0), (122.0, 137.0), (106.0, 137.0)]
IN_LINE = Wish("line", 3)
LINE = [(115.0, 130.0), (240.0, 70.0), (340.0, 160.0)]


def panel(**choices):
    """A panel with a leaf and an eye in it, a flow line along the leaf."""
    square = (((0.0, 0.0), (WIDE, 0.0), (WIDE, HIGH), (0.0, HIGH)),)
    ground = field_of("f1", "Ground", (square,), tessera_mm=20.0, joint_mm=2.0)
    doc = Commission("Panel", WIDE, HIGH, fields=(ground,))
    choices = {"tessera_mm": 6.0, "joint_mm": 1.0, **choices}
    leaf = add_outline(doc, LEAF, "Leaf", "leaf", **choices)
    eye = add_outline(leaf.doc, EYE, "Eye", "leaf", tessera_mm=5.0, joint_mm=1.0)
    doc, _ = add_flow_line(eye.doc, [(95.0, 120.0), (138.0, 134.0)], leaf.field_id)
    return doc, (leaf.field_id, eye.field_id)


def motif_of(doc, ids):
    return polygons_of(shapely.union_all([polygon_of(doc.field_by_id(i).outline) for i in ids]))


def repeated(wish=IN_LINE, points=LINE, **choices):
    """A panel whose motif is repeated."""
    doc, ids = panel(**choices)
    return add_repeat(doc, ids, arranged(motif_of(doc, ids), wish, points, (WIDE, HIGH))).doc


def edited(before, after):
    """Return a document as it is after an edit, carried to all the places."""
    return carry(before, after)[0]


def changed(doc, field_id, **choices):
    """Change a field as the window does."""
    return edited(doc, change_field(doc, field_id, **choices))


def with_edit(doc, edit: HandEdit):
    return edited(doc, replace(doc, edits=(*doc.edits, edit)))


def places(doc, k=0):
    return doc.repeats[k].places


def far_apart(a, b, move) -> float:
    """Return by how much pieces are not those of another field, moved: mm, inf where unlike."""
    if len(a.polygons) != len(b.polygons):
        return np.inf
    here = shapely.transform(a.polygons, move.out)
    return float(max(map(shapely.hausdorff_distance, here, b.polygons), default=0.0))


def alike(doc):
    """Whether all places of all repeats are the first ones moved, and what is theirs with them."""
    check_document(doc)
    for r in doc.repeats:
        for place in r.places[1:]:
            for a, b in zip(r.places[0].fields, place.fields, strict=True):
                one, other = doc.field_by_id(a), doc.field_by_id(b)
                assert one.laying == other.laying and one.motif == other.motif
                assert replace(other.colour, sketch_move=None) == replace(
                    one.colour, sketch_move=None
                )
                for mine, its in zip(points_of(doc, a), points_of(doc, b), strict=True):
                    assert np.abs(place.move.out(mine) - its).max() < 1e-3
    return True


def points_of(doc, field_id):
    lines = [np.array(w.points) for w in doc.flow_lines if w.field_id == field_id]
    return lines + [np.array([e.at_mm]) for e in doc.edits if e.field_id == field_id]
