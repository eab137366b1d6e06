"""An ornament becomes ordinary fields of one motif, with ordinary flow lines, over what lies
beneath."""

import numpy as np
import pytest
import shapely
from measures import kept, measure
from ornaments import BANDS

from core.commission import Commission, field_of
from core.errors import EmblemaError
from core.fields import areas, gaps_and_overlaps
from core.flow import hugged, lines_for
from core.geometry import polygon_of
from core.laying import lay_field
from core.ornament import Module, add_ornament, frame, ring, strip
from core.ornament.discs import rays, rosette
from core.ornament.kinds import KINDS
from core.plan import setting_of

MODULE = Module(10.0, 1.5)


def floor(wide=900.0, high=700.0):
    square = (((0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)),)
    return Commission("Floor", wide, high, fields=(field_of("f1", "Ground", (square,)),))


def as_one(doc):
    """Return every measure of an ornament as it is laid, its fields weighed by their pieces."""
    found = {}
    for f in doc.fields:
        setting = setting_of(doc, f)
        pieces = lay_field(setting)
        laying = f.laying
        measures = measure(
            setting.outline, laying.tessera_mm, laying.joint_mm, pieces, setting.flow
        )
        for k, v in measures.items():
            found.setdefault(k, []).append((v * len(pieces), len(pieces)))
    return {k: np.divide(*np.sum(some, axis=0)) for k, some in found.items()}


@pytest.mark.parametrize("name", BANDS)
def test_its_parts_are_fields_that_share_their_borders(name):
    band, p = BANDS[name], MODULE.pitch_mm
    wide, high = ((2 * band.width + band.length(n, True)) * p * 1.01 for n in (2, 1))
    ornament = frame(band, (40, 30, 40 + wide, 30 + high), MODULE)
    made = add_ornament(floor(1700, 1200), ornament)
    new = [f for f in made.doc.fields if f.motif == ornament.name]
    assert len(new) == len(ornament.parts) and made.notes == ornament.notes
    assert shapely.coverage_is_valid(np.array(areas(made.doc), dtype=object))
    assert gaps_and_overlaps(made.doc) == ()
    for field, part in zip(new, ornament.parts, strict=True):
        assert polygon_of(field.outline).symmetric_difference(part.outline).area < 1.0
        laying = field.laying
        assert (laying.opus, laying.follow_border) == (part.opus, part.follow_border)
        assert laying.pitch_mm == MODULE.pitch_mm
        assert len(lines_for(made.doc, field)) == len(part.flow)
        assert setting_of(made.doc, field).outline.area > 0


def test_a_second_one_is_another_motif_and_what_it_covers_is_gone():
    ornament = frame(BANDS["dentils"], (40, 40, 860, 660), MODULE)
    first = add_ornament(floor(), ornament)
    again = add_ornament(first.doc, frame(BANDS["dentils"], (200, 200, 700, 500), MODULE))
    assert again.doc.motifs() == ("dentils", "dentils 2")
    over = add_ornament(first.doc, ornament)
    assert over.doc.motifs() == ("dentils 2",)
    assert "Field 'dentils: fillet' was wholly covered and is gone." in over.notes


def test_a_field_hugs_it_as_any_motif():
    made = add_ornament(floor(), frame(BANDS["meander of two turns"], (40, 40, 860, 660), MODULE))
    ground = made.doc.fields[0].with_choices(opus="classicum", hug=("meander",))
    assert sum(w.length for w in hugged(made.doc, ground)) > 2000


def test_what_lies_outside_the_work_is_cut_off_and_said():
    band = BANDS["dentils"]
    made = add_ornament(floor(), frame(band, (-20, 40, 860, 660), MODULE))
    assert made.notes[-1] == "What lay outside the work was cut off."
    assert gaps_and_overlaps(made.doc) == ()
    with pytest.raises(EmblemaError, match="Nothing of this outline"):
        add_ornament(floor(), frame(band, (1000, 40, 1860, 660), MODULE))


def test_a_meander_is_laid_in_a_grid_however_its_sides_are_stretched():
    """Level sides shrunk a little, upright ones drawn out by a quarter: no cell is cut aslant."""
    module = Module(10.7, 1.8)
    meander = KINDS["meander"].band(1)
    doc = add_ornament(Commission("o", 340, 310), frame(meander, (0, 0, 340, 310), module)).doc
    for f in doc.fields:
        pieces = lay_field(setting_of(doc, f))
        assert pieces.area_mm2 == pytest.approx(np.prod(pieces.box_mm, axis=1), rel=1e-3)


@pytest.mark.parametrize("place", ["strip", "ring"])
def test_courses_of_scales_run_along_their_crowns_and_keep_the_limits(place):
    """Laid as one with their border they fishboned, turned and left grout where four meet."""
    band = KINDS["scales"].band(4)
    length = band.length(2, True) * MODULE.pitch_mm
    if place == "strip":
        ornament = strip(band, [(0, 100), (length, 100)], MODULE)
    else:
        ornament = ring(band, (400, 400), 380, MODULE)
    found = as_one(add_ornament(Commission("o", 1000, 1000), ornament).doc)
    assert {k: v for k, v in found.items() if not kept(k, v)} == {}


@pytest.mark.parametrize("made", [rays, rosette])
def test_what_fills_a_disc_keeps_the_limits(made):
    """An eye is set by itself, and a course turns little only where it runs far from the middle."""
    ornament = made((200.0, 200.0), 13 * MODULE.pitch_mm, MODULE)
    found = as_one(add_ornament(Commission("o", 400, 400), ornament).doc)
    assert {k: v for k, v in found.items() if not kept(k, v)} == {}
