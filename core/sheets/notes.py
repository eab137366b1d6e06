"""The setter's notes: one page for whoever sets the sheets, in plain words and true figures.

References
----------
BS 5385-1:2018 (what walls carry); ANSI A108.5 (contact of the adhesive); MMSA Bulletin 3, 2005
(face-mounted sheets).
"""

from __future__ import annotations

import math

from core.agreed import mark_of, piece_marks
from core.commission import Commission
from core.drawing import Page, Rgb, Text
from core.figures import CAUTIONS, Figures, figures
from core.lettering import LEAST_MM, fitted, wrapped
from core.paper.sizes import PAPERS as SIZES
from core.pieces import Layout
from core.sheets.keyplan import movement_joints
from core.sheets.made import Sheets
from core.sheets.sides import WAYS

MARGIN_MM = 14.0
FOOT_MM = 6.0
SIZES_MM = (4.0, 3.7, 3.4, 3.1, 2.8, 2.5, LEAST_MM)  # the largest that holds on one page
LINE = 1.38  # of the size, from line to line
GREY: Rgb = (110, 110, 110)

Section = tuple[str, list[str]]


def notes_page(doc: Commission, layout: Layout, sheets: Sheets) -> Page:
    """Return the notes on one upright page of A4."""
    h, w = SIZES["A4"]
    sections = said(doc, figures(doc, layout), sheets)
    items: list[Text] = []
    for size in SIZES_MM:
        items, low = _set(doc.title, sections, size, w)
        if low <= h - MARGIN_MM - FOOT_MM:
            break
    mark = mark_of(piece_marks(doc, layout))
    foot, small = fitted(
        f"mark {mark}   {doc.title}   setter's notes", 2.8, w - 2 * MARGIN_MM, LEAST_MM
    )
    return Page(w, h, "Notes", (*items, Text(MARGIN_MM, h - MARGIN_MM, foot, small, colour=GREY)))


def _set(title: str, sections: list[Section], size: float, w: float) -> tuple[list[Text], float]:
    """Return the words in a size, and where they end, mm."""
    wide = w - 2 * MARGIN_MM
    head, big = fitted(f"Setting: {title}" if title else "Setting", 7.0, wide, 3.5, bold=True)
    items = [Text(MARGIN_MM, MARGIN_MM + 3, head, big, bold=True)]
    y = MARGIN_MM + 12.0
    for name, lines in sections:
        items.append(Text(MARGIN_MM, y, name, 1.15 * size, bold=True))
        y += 1.6 * size
        for one in lines:
            items.append(Text(MARGIN_MM, y, "–", size))
            for line in wrapped(one, size, wide - 1.2 * size):
                items.append(Text(MARGIN_MM + 1.2 * size, y, line, size))
                y += LINE * size
        y += 0.75 * size
    return items, y


def said(doc: Commission, f: Figures, sheets: Sheets) -> list[Section]:
    """Return what is said, heading by heading."""
    s = doc.sheeting
    joints = movement_joints(doc.width_mm, doc.height_mm)
    heavy = max((one.kg for one in sheets.each), default=0.0)
    carries = [f"{name} (to {limit:g})" for name, limit, enough in f.walls if enough]
    cannot = [f"{name} (to {limit:g})" for name, limit, enough in f.walls if not enough]
    level = (
        "its lower edge" if s.level_mm == 0 else f"a line {s.level_mm:g} mm above its lower edge"
    )
    return [
        (
            "The wall",
            [
                f"The work is {doc.width_mm:g} × {doc.height_mm:g} mm, {f.area_m2:.2f} m2. With "
                f"adhesive and grout it weighs {f.total_kg:.1f} kg, {f.kg_m2:.1f} kg/m2.",
                f"That is within what these carry, kg/m2: {_list(carries)}."
                if carries
                else "No wall that BS 5385-1 names carries that.",
                *([f"Too heavy for: {_list(cannot)}."] if cannot else []),
                "The weakest layer governs, paint and old plaster too (BS 5385-1:2018). Flat, dry, "
                "clean and firm before you begin.",
                f"Movement joints, as advice: {'; '.join(joints)}.",
            ],
        ),
        (
            "The sheets",
            [
                f"{len(sheets.each)} sheets, the heaviest {heavy:.1f} kg. Set them in the order on "
                f"the key plan, beginning at {level}; check it with a spirit level.",
                WAYS[s.laid].words,
                "Lay two neighbours dry first: ticks and crosses must meet, numbers stand upright.",
            ],
        ),
        (
            "Adhesive",
            [
                f"A bed of {f.bed_mm:g} mm, about {math.ceil(f.adhesive_bought_kg)} kg in all. "
                "White for glass; what its maker allows for this wall and for glass or stone.",
                "Contact with the backs: at least 80 % in dry rooms, 95 % in wet rooms and "
                "outside (ANSI A108.5); transparent glass wants all of it. Fill the joints of the "
                "backs first, comb one way, beat each sheet in with a flat board.",
                "Spread no more than you cover before it skins: press a finger in, it must stick.",
            ],
        ),
        (
            "Paper off",
            [
                "When the sheet holds, wet the paper and keep it wet for 5 to 30 minutes (MMSA "
                "Bulletin 3), until it slides. Peel slowly, flat along the wall, from a corner.",
                "While the bed is soft put right what has moved, and the joint between sheets. "
                "Wash off the paste.",
            ],
        ),
        (
            "Grout",
            [
                f"About {f.grout_bought_kg:.1f} kg with its surplus. When the adhesive has set as "
                "its maker says, a day at least as a rule, longer in the cold and under glass.",
                "Try it on a spare piece first: some grout scratches gold and stains marble.",
            ],
        ),
        (
            "With care",
            [
                *CAUTIONS,
                "Ask first: whoever answers for the structure, about weight and wall; a licensed "
                "electrician near sockets, a plumber or gas fitter near pipes, cookers and hobs.",
            ],
        ),
    ]


def _list(words: list[str]) -> str:
    return ", ".join(words)
