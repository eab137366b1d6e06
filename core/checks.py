"""One check of a whole commission, whatever it was read from or edited by.

Types are right already (`core.typed`). What passes here can be laid, coloured, counted, printed
and saved; what does not is told in one sentence that names its place. It costs some thousandths
of a second, so that it can stand behind every edit.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from shapely import Polygon

from core.bounds import FAR_MM, money, one_of, said, shown, within, written
from core.commission import (
    EDITS,
    LONGEST_NAME,
    WAYS_LAID,
    Commission,
    Field,
    FlowLine,
    HandEdit,
    Limits,
    Point,
    Rates,
    Sketch,
    Swap,
    check_field,
)
from core.errors import EmblemaError
from core.geometry import SNAP_MM, lies_as
from core.goods import check_goods
from core.material import LONGEST_TEXT, MOST_PRICE, Lab, check_material
from core.moves import Move
from core.openings import check_opening
from core.place import check_place
from core.proof.asked import check_proof
from core.site import OPENINGS
from core.sizes import sizes_for
from core.terms import MOST_DONE, check_days, check_measured, check_quoted, check_terms

LARGEST_MM = 1_000_000.0  # a kilometre of wall
LONGEST_NOTES = 1_000_000
MOST_PAGES = 100_000
TRUE_WAY = 1e-9  # by which the length of a move's way may differ from 1
MOST_POINTS = 5_000_000  # of all outlines and flow lines
MOST_DRAWN = 2000  # seams, or places that they spare
_MOST = {
    "fields": 5000,
    "flow_lines": 20_000,
    "materials": 20_000,
    "swaps": 20_000,
    "edits": 200_000,
    "motif_palettes": 5000,
    "agreed": 5000,
    "printed": 20_000,
    "repeats": 5000,
    "sheets": 20_000,
    "done": MOST_DONE,
    "openings": 500,
}
# attribute, words, least, most
_LIMITS = (
    ("sliver_tesserae", "a sliver's width", 0, 10),
    ("sharp_deg", "a sharp corner", 0, 180),
    ("too_big_times", "too big", 0, 100),
    ("too_small_times", "too small", 0, 100),
    ("convex_share", "hollow", 0, 1),
    ("narrow_joint", "a narrow joint", 0, 100),
    ("wide_joint", "a wide joint", 0, 100),
    ("pool_joints", "a grout pool", 0, 100),
    ("joints_in_line", "joints in line", 1, 1000),
    ("off_flow_deg", "off the flow", 0, 180),
    ("course_end_times", "a course end", 0, 100),
    ("colour_delta_e", "a colour too far off", 0, 1000),
)
_RATES = (
    ("bed_mm", "the adhesive bed", 0, 1000),
    ("adhesive_kg_m2_mm", "the weight of adhesive", 0, 100),
    ("grout_kg_dm3", "the weight of grout", 0, 100),
    ("grout_surplus", "the surplus of grout", 0, 100),
    ("seconds_a_piece", "the time that a piece takes", 0, 1_000_000),
    ("putty_minutes", "the time that putty stays workable", 1, 1440),
    ("glass_kerf_mm", "what a cut in glass takes", 0, 100),
    ("stone_kerf_mm", "what a cut in stone takes", 0, 100),
    ("edge_mm", "what a rough edge takes", 0, 100),
    ("margin", "the margin", 0, 100),
    ("tax", "the tax", 0, 10),
)
_PRICES = (("hour", "an hour"), ("grout_kg", "grout"), ("adhesive_kg", "adhesive"))


def check_document(doc: Commission) -> None:
    """Raise EmblemaError where a commission holds what cannot be worked with."""
    for name, most in _MOST.items():
        if len(getattr(doc, name)) > most:
            what = name.replace("_", " ")
            raise EmblemaError(f"It has {len(getattr(doc, name)):,} {what}; {most:,} are the most.")
    written("The title", doc.title, LONGEST_NAME)
    written("The currency", doc.currency, LONGEST_NAME)
    written("The commission's id", doc.id, LONGEST_NAME)
    written("The notes", doc.notes, LONGEST_NOTES, lines=True)
    within("The finished width", doc.width_mm, 1, LARGEST_MM, " mm")
    within("The finished height", doc.height_mm, 1, LARGEST_MM, " mm")
    within("The throw of the hand (seed)", doc.seed, -(2**63), 2**63 - 1)
    within("The weight of lightness", doc.lightness_weight, 1e-3, 1000)
    _check_lab("The grout's colour", doc.grout_lab)
    if doc.sketch is not None:
        _check_sketch(doc.sketch)
    _check_fields(doc.fields)
    ids = {f.id for f in doc.fields}
    _check_lines(doc.flow_lines, ids)
    _check_sizes(doc)
    for m in doc.materials:
        check_material(m)
    _once("materials have the code", (m.code for m in doc.materials))
    for k, s in enumerate(doc.swaps, 1):
        _check_swap(f"Swap {k}", s, ids)
    for k, e in enumerate(doc.edits, 1):
        _check_edit(f"Hand edit {k}", e, ids)
    for motif, codes in doc.motif_palettes:
        for text in (motif, *codes):
            written("A motif's palette:", text, LONGEST_NAME)
    _check_stands(doc, ids)
    _check_repeats(doc)
    _check_sheets(doc)
    _check_site(doc)
    check_proof(doc.proof, doc.in_place)
    _check_numbers(doc.limits, doc.rates)
    check_place(doc.place)
    check_terms(doc.terms)
    check_days(doc.days, doc.done)
    check_quoted(doc.quoted)
    check_measured(doc.rates.measured)


def _check_fields(fields: Sequence[Field]) -> None:
    points = 0
    for f in fields:
        check_field(f)
        if f.colour.sketch_move is not None:
            _check_move(f"Field '{f.name}': the move of its sketch", f.colour.sketch_move)
        for ring in (ring for part in f.colour.unseen for ring in part):
            points += len(ring)
            check_points(f"Field '{f.name}': where its sketch is not seen", ring, 3)
        written(f"Field '{f.name}': its id", f.id, LONGEST_NAME)
        if not f.outline:
            raise EmblemaError(f"Field '{f.name}' has no outline.")
        for part in f.outline:
            if not part:
                raise EmblemaError(f"Field '{f.name}': a part of its outline is empty.")
            for ring in part:
                points += len(ring)
                check_points(f"Field '{f.name}': its outline", ring, 3)
    if points > MOST_POINTS:
        raise EmblemaError(f"The outlines have {points:,} points; {MOST_POINTS:,} are the most.")
    _once("fields have the id", (f.id for f in fields))


def _check_lines(lines: Sequence[FlowLine], ids: set[str]) -> None:
    points = 0
    for k, line in enumerate(lines, 1):
        who = f"Flow line {k}"
        written(f"{who}: its id", line.id, LONGEST_NAME)
        _check_owner(who, line.field_id, ids)
        check_points(who, line.points, 2)
        points += len(line.points)
        if np.ptp(line.points, axis=0).max() <= SNAP_MM:
            raise EmblemaError(f"{who} needs at least two different points.")
        if line.tessera_mm is not None:
            within(f"{who}: the tessera along it", line.tessera_mm, 1, 500, " mm")
        elif not line.leads:
            raise EmblemaError(f"{who} neither leads the courses nor gives a size.")
    if points > MOST_POINTS:
        raise EmblemaError(f"The flow lines have {points:,} points; {MOST_POINTS:,} are the most.")
    _once("flow lines have the id", (line.id for line in lines))


def _check_sizes(doc: Commission) -> None:
    """Raise where pieces along a line would be no larger than their joint."""
    for k, line in enumerate(doc.flow_lines, 1):
        for f in doc.fields:
            size, joint = line.tessera_mm, f.laying.joint_mm
            if size is None or joint < size or line.field_id not in (None, f.id):
                continue
            if any(s.tessera_mm == size for s in sizes_for(doc, f)):
                raise EmblemaError(
                    f"Flow line {k}: its pieces of {said(size)} mm are no larger than the joint of "
                    f"field '{shown(f.name)}' ({said(joint)} mm)."
                )


def _check_swap(who: str, swap: Swap, ids: set[str]) -> None:
    for text in (swap.old, swap.new, swap.motif or ""):
        written(f"{who}:", text, LONGEST_NAME)
    _check_owner(who, swap.field_id, ids)


def _check_edit(who: str, edit: HandEdit, ids: set[str]) -> None:
    one_of(f"{who}: the kind", edit.kind, EDITS)
    _check_owner(who, edit.field_id, ids)
    written(f"{who}: its material", edit.material, LONGEST_NAME)
    places = (
        edit.at_mm,
        edit.move_mm,
        *(edit.line or ()),
        *((edit.other_mm,) * bool(edit.other_mm)),
    )
    check_points(who, places, 1)
    within(f"{who}: its turn", edit.turn_rad, -1000, 1000, " rad")
    if edit.outline or edit.kind in ("set", "pin"):
        check_points(f"{who}: its outline", edit.outline, 3)


def _check_stands(doc: Commission, ids: set[str]) -> None:
    for k, a in enumerate(doc.agreed, 1):
        _check_owner(f"Agreement {k}", a.field_id, ids)
        written(f"Agreement {k}: its day", a.on, LONGEST_NAME)
    for k, p in enumerate(doc.printed, 1):
        who = f"Print {k}"
        within(f"{who}: the number of pages", len(p.marks), 0, MOST_PAGES)
        for text in (p.on, p.what, p.paper, *(word for mark in p.marks for word in mark)):
            written(f"{who}:", text, LONGEST_TEXT)


def _check_repeats(doc: Commission) -> None:
    """Raise where a repeat is no repeat: links that lead nowhere, or places that are not alike."""
    _once("repeats have the id", (r.id for r in doc.repeats))
    fields = {f.id: f for f in doc.fields}
    for k, r in enumerate(doc.repeats, 1):
        who = f"Repeat {k}"
        written(f"{who}: its id", r.id, LONGEST_NAME)
        if len(r.places) < 2 or not r.places[0].fields:
            raise EmblemaError(f"{who} needs two places or more, with a field or more in each.")
        for n, place in enumerate(r.places, 1):
            where = f"{who}, place {n}"
            _check_move(f"{where}: its move", place.move)
            for i in place.fields:
                _check_owner(where, i, set(fields))
            if len(place.fields) != len(r.places[0].fields):
                raise EmblemaError(f"{where} has not as many fields as the first.")
            for i, first in zip(place.fields, r.places[0].fields, strict=True):
                if not lies_as(fields[first].outline, fields[i].outline, place.move):
                    raise EmblemaError(
                        f"{where}: field '{shown(fields[i].name)}' does not lie as the first "
                        "place's does."
                    )
    linked = [i for r in doc.repeats for place in r.places for i in place.fields]
    _once("places of repeats have the field", linked)


def _check_sheets(doc: Commission) -> None:
    s = doc.sheeting
    within("The width of a sheet", s.width_mm, 20, 5000, " mm")
    within("The height of a sheet", s.height_mm, 20, 5000, " mm")
    within("The weight of a sheet", s.weight_kg, 0.05, 100, " kg")
    within("The level line", s.level_mm, -LARGEST_MM, LARGEST_MM, " mm")
    one_of("The way that sheets are laid", s.laid, WAYS_LAID)
    drawn = (
        ("Seam", "seams", s.seams, 2),
        ("Spared place", "spared places", s.spared, 3),
        ("Place spared a little", "places spared a little", s.spared_little, 3),
        ("Place never cut", "places never cut", s.spared_never, 3),
    )
    for what, all_of_them, lines, least in drawn:
        within(f"The number of {all_of_them}", len(lines), 0, MOST_DRAWN)
        for k, line in enumerate(lines, 1):
            check_points(f"{what} {k}", line, least)
    points = 0
    for sheet in doc.sheets:
        who = f"Sheet {sheet.number}"
        within("The number of a sheet", sheet.number, 1, 1_000_000)
        if not sheet.outline or not all(sheet.outline):
            raise EmblemaError(f"{who} has no outline.")
        for ring in (r for part in sheet.outline for r in part):
            points += len(ring)
            check_points(f"{who}: its outline", ring, 3)
    if points > MOST_POINTS:
        raise EmblemaError(f"The sheets have {points:,} points; {MOST_POINTS:,} are the most.")
    _once("sheets have the number", (str(sheet.number) for sheet in doc.sheets))


def _check_site(doc: Commission) -> None:
    if doc.site:
        check_points("The wall's outline", doc.site, 3)
        wall = Polygon(doc.site)
        if not wall.is_valid or wall.area < 1.0:
            raise EmblemaError("The wall's outline crosses itself or encloses nothing.")
    for k, o in enumerate(doc.openings, 1):
        who = f"Opening {k}"
        one_of(f"{who}: its kind", o.kind, OPENINGS)
        written(f"{who}: its name", o.name, LONGEST_NAME)
        check_points(f"{who}: its outline", o.outline, 3)
        check_opening(o)


def _check_move(who: str, move: Move) -> None:
    check_points(who, (move.origin_mm,), 1)
    if not abs(math.hypot(*move.way) - 1) <= TRUE_WAY:
        raise EmblemaError(f"{who} would make it larger or smaller.")


def _check_sketch(sketch: Sketch) -> None:
    written("The sketch's picture", sketch.image, LONGEST_NAME)
    for px in (sketch.width_px, sketch.height_px):
        within("The sketch's size", px, 1, 1_000_000, " px")
    within("The sketch's scale", sketch.mm_per_px, 1e-6, 1e6, " mm a pixel")
    within("The sketch's turn", sketch.turn_rad, -1000, 1000, " rad")
    check_points("The sketch's corner", (sketch.origin_mm,), 1)


def _check_numbers(limits: Limits, rates: Rates) -> None:
    for name, words, least, most in _LIMITS:
        within(f"The limit for {words}", getattr(limits, name), least, most)
    for name, words, least, most in _RATES:
        within(f"Rates: {words}", getattr(rates, name), least, most)
    for name, words in _PRICES:
        money(f"Rates: the price of {words}", getattr(rates, name), MOST_PRICE)
    check_goods(rates.goods)


def check_points(who: str, points: Sequence[Point], least: int) -> None:
    """Raise EmblemaError where points are fewer than so many, or one is no place on the work."""
    if len(points) < least:
        raise EmblemaError(f"{who} has {len(points)} points; {least} are the least.")
    xy = np.abs(np.asarray(points, float))
    if not (xy <= FAR_MM).all():  # nor is what is no number
        bad = next(v for p in points for v in p if not abs(v) <= FAR_MM)
        raise EmblemaError(
            f"{who} has a point at {said(bad)} mm; the farthest is {said(FAR_MM)} mm."
        )


def _check_lab(who: str, lab: Lab) -> None:
    for value, low in zip(lab, (0.0, -160.0, -160.0), strict=True):
        within(who, value, low - 1.0, 160.0)


def _check_owner(who: str, field_id: str | None, ids: set[str]) -> None:
    if field_id is not None and field_id not in ids:
        raise EmblemaError(f"{who} is for a field '{shown(field_id)}', which is not there.")


def _once(words: str, names: Iterable[str]) -> None:
    """Raise where two are known by one name."""
    for name, count in Counter(names).items():
        if count > 1:
            raise EmblemaError(f"{count} {words} '{shown(name)}'; each needs its own.")
