"""The proof as pages of data: the work, the work in its place, a part at its true size, what it is
made of, what it weighs and costs, and a place to sign.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from core.commission import Commission
from core.drawing import Item, Page, Paths, Picture, Rgb, Text
from core.figures import Count, Figures, figures
from core.figures.money import paid
from core.figures.quote import NOTHING
from core.geometry import polygon_of
from core.lettering import fitted, wrapped
from core.pictures import read_image
from core.pieces import Layout
from core.proof import inplace, samples
from core.proof.care import care_of

Box = tuple[float, float, float, float]
Pixels = NDArray[np.uint8]
Drawn = Callable[[float, Box], Pixels]

WIDE_MM: Final = 297.0  # A4 lying (ISO 216)
HIGH_MM: Final = 210.0
MARGIN_MM: Final = 15.0
FOOT_MM: Final = 9.0
INK: Rgb = (38, 38, 40)
GREY: Rgb = (120, 120, 122)
FAINT: Rgb = (205, 204, 200)
PX_MM: Final = 200 / 25.4  # of a picture on paper
TRUE_PX_MM: Final = 300 / 25.4  # of what is looked at closely
CLOSE_MM: Final = (178.0, 150.0)  # of the part that is shown at its true size
MOST_PX_MM: Final = 24.0  # of the work: nothing finer is seen in it
MOST_PX: Final = 40_000_000  # of a picture of the whole
# What a client is told apart of the price; how the rest came about is the studio's own.
TOLD_APART: Final = ("drawing", "revisions", "board", "hangers", "mounting", "transport", "fixing")
SAMPLE_PX_MM: Final = 5.0
COLUMNS, ROWS = 4, 12  # of swatches on a page


@dataclass(frozen=True, slots=True)
class Told:
    """What the proof says of the occasion: its day, and the round, in words, if there is one."""

    day: str
    round: str = ""


def proof_pages(
    doc: Commission,
    layout: Layout,
    images: Mapping[str, bytes],
    drawn: Drawn,
    told: Told,
) -> tuple[Page, ...]:
    """Return the pages of a proof.

    Parameters
    ----------
    drawn : callable
        Returns the picture of a part of the work: pixels a mm, and x0, y0, x1, y1 mm.

    Raises
    ------
    core.errors.EmblemaError
        The photograph of the wall cannot be read.
    """
    maker = _Maker(doc, layout, drawn, told)
    pages = [
        maker.work(),
        maker.in_place(images),
        maker.closely(),
        *maker.made_of(),
        maker.agreed(),
    ]
    return tuple(maker.footed(page, k, len(pages)) for k, page in enumerate(pages, 1))


class _Maker:
    def __init__(self, doc: Commission, layout: Layout, drawn: Drawn, told: Told) -> None:
        self.doc, self.layout, self.told = doc, layout, told
        self.drawn = drawn
        self.figures = figures(doc, layout)
        self.size = doc.width_mm, doc.height_mm

    # --- pages --------------------------------------------------------------------------------

    def work(self) -> Page:
        """The picture as large as the paper lets it be."""
        doc = self.doc
        under = 34.0
        picture = self._in_box(MARGIN_MM, MARGIN_MM, WIDE_MM - MARGIN_MM, HIGH_MM - under, PX_MM)
        y = HIGH_MM - under + 7.0
        title, size = fitted(doc.title or "Proof", 8.0, 190.0, 4.0, bold=True)
        items: list[Item] = [
            *picture,
            Text(MARGIN_MM, y, title, size, colour=INK, bold=True),
            Text(MARGIN_MM, y + 8.0, self._sized(), 3.8, colour=GREY),
        ]
        right = WIDE_MM - MARGIN_MM
        said = [self.told.round, self.told.day]
        for k, words in enumerate(w for w in said if w):
            items.append(Text(right, y + 8.0 * k, words, 3.8, "end", colour=GREY))
        return self._page("The work", items)

    def in_place(self, images: Mapping[str, bytes]) -> Page:
        """The work on its wall."""
        place = self.doc.in_place
        seen = seen_in_place(self.doc, images, self.drawn)
        if place is None:
            said = "On a plain wall, the figure 1.70 m tall."
        else:
            said = "In the photograph of the wall, in the light that is in it."
            said += " The figure is 1.70 m tall." if place.figure else ""
        rows, columns = seen.shape[:2]
        wide, high = WIDE_MM - 2 * MARGIN_MM, HIGH_MM - 2 * MARGIN_MM - 20.0
        by = min(wide / columns, high / rows)
        w, h = columns * by, rows * by
        picture = _reduced(seen, PX_MM * by)
        items: list[Item] = [
            Picture((WIDE_MM - w) / 2, MARGIN_MM, w, h, picture),
            Text(MARGIN_MM, HIGH_MM - MARGIN_MM - 12.0, said, 3.8, colour=GREY),
        ]
        return self._page("In its place", items)

    def closely(self) -> Page:
        """A part at its true size, and where it lies."""
        doc = self.doc
        wide, high = (min(a, b) for a, b in zip(CLOSE_MM, self.size, strict=True))
        x, y = doc.proof.close_mm or finest_place(self.layout, (wide, high), self.size)
        x0 = min(max(x - wide / 2, 0.0), self.size[0] - wide)
        y0 = min(max(y - high / 2, 0.0), self.size[1] - high)
        box = (x0, y0, x0 + wide, y0 + high)
        left = MARGIN_MM + CLOSE_MM[0] + 10.0
        room = WIDE_MM - MARGIN_MM - left
        small = self._in_box(left, MARGIN_MM, left + room, MARGIN_MM + 70.0, PX_MM)
        whole = small[0]
        assert isinstance(whole, Picture)
        by = whole.width_mm / self.size[0]
        there = _ring(x0, y0, wide, high)
        frame = there * by + (whole.x_mm, whole.y_mm)
        tesserae = f"{len(self.layout):,} pieces, each cut and laid by hand."
        words = [
            "At its true size",
            "Printed at 100 %, this part is as large as it will be on the wall.",
            tesserae,
        ]
        items: list[Item] = [
            Picture(MARGIN_MM, MARGIN_MM, wide, high, self.drawn(TRUE_PX_MM, box)),
            *small,
            Paths.of([frame], pen=(176, 28, 28), pen_mm=0.5),
        ]
        y = whole.y_mm + whole.height_mm + 12.0
        for k, words_of in enumerate(words):
            size = 5.0 if k == 0 else 3.8
            for line in wrapped(words_of, size, room):
                items.append(Text(left, y, line, size, colour=INK if k == 0 else GREY, bold=k == 0))
                y += 1.5 * size
            y += 2.0
        return self._page("Closely", items)

    def made_of(self) -> list[Page]:
        """Swatches by name, what is laid most first."""
        f = self.figures
        laid = sorted((c for c in f.counts if not c.bare), key=lambda c: -c.area_mm2)
        whole = sum(c.area_mm2 for c in f.counts)
        at_once = COLUMNS * ROWS
        parts = [laid[k : k + at_once] for k in range(0, len(laid), at_once)]
        return [self._page("What it is made of", self._swatches(part, whole)) for part in parts]

    def _swatches(self, laid: Sequence[Count], whole_mm2: float) -> list[Item]:
        items: list[Item] = [_head(MARGIN_MM, MARGIN_MM + 3, "What it is made of")]
        y0, high = MARGIN_MM + 12.0, 13.4
        wide = (WIDE_MM - 2 * MARGIN_MM) / COLUMNS
        shown = samples.samples(self.doc, [c.material for c in laid], SAMPLE_PX_MM)
        for k, c in enumerate(laid):
            x, y = MARGIN_MM + (k // ROWS) * wide, y0 + (k % ROWS) * high
            items.append(Picture(x, y, 15.0, 15.0 * samples.HIGH_MM / samples.WIDE_MM, shown[k]))
            name = wrapped(c.material.description or c.material.code, 2.9, wide - 20.0)[:2]
            for j, words in enumerate(name):
                fit, size = fitted(words, 2.9, wide - 20.0, 2.4)
                items.append(Text(x + 18, y + 1.8 + 3.6 * j, fit, size, colour=INK))
            share = 100 * c.area_mm2 / whole_mm2
            part = f"{share:.0f} %" if share >= 1 else "less than 1 %"
            words = f"{c.material.kind}, {part}"
            items.append(Text(x + 18, y + 9.4, words, 2.5, colour=GREY))
        return items

    def agreed(self) -> Page:
        """Size, weight, price, care, and where to sign."""
        doc, f = self.doc, self.figures
        half = (WIDE_MM - 2 * MARGIN_MM - 16.0) / 2
        left, right = _Column(MARGIN_MM, half), _Column(MARGIN_MM + half + 16.0, half)
        left.head("The work")
        left.line(f"{self._sized()}, {f.area_m2:.2f} m²")
        left.line(f"{f.pieces:,} pieces in {sum(not c.bare for c in f.counts)} materials")
        left.line(f"{f.total_kg:.1f} kg with its bed and grout, {f.kg_m2:.1f} kg/m²")
        if doc.proof.price != "none":
            left.head("The price")
            for name, amount in _price(doc, f):
                left.row(name, amount)
        if doc.proof.words.strip():
            left.head("To you")
            for words in doc.proof.words.splitlines():
                left.line(words)
        right.head("Keeping it")
        own = doc.proof.care.splitlines() if doc.proof.care.strip() else None
        kinds = {c.material.kind for c in f.counts if not c.bare}
        finishes = {c.material.finish for c in f.counts if not c.bare}
        for words in own or care_of(kinds, finishes):
            right.line(words)
            right.y += 1.5
        items = [*left.items, *right.items]
        y = HIGH_MM - MARGIN_MM - 30.0
        items.append(Text(MARGIN_MM, y, self._agreeing(), 3.8, colour=INK))
        y += 17.0
        for x, words in ((MARGIN_MM, "Day"), (MARGIN_MM + half + 16.0, "Signed")):
            rule = np.array([[x, y], [x + half, y]])
            items.append(Paths.of([rule], closed=False, pen=GREY, pen_mm=0.25))
            items.append(Text(x, y + 3.5, words, 2.8, colour=GREY))
        return self._page("Agreed", items)

    def _agreeing(self) -> str:
        what = f"{self.told.round}, {self.told.day}" if self.told.round else self.told.day
        return f"I have seen this proof ({what}) and agree to it."

    # --- parts --------------------------------------------------------------------------------

    def footed(self, page: Page, number: int, of: int) -> Page:
        """Return a page with its foot: whose it is, of what, which page."""
        y = HIGH_MM - FOOT_MM
        who = "   ".join(w for w in (self.doc.studio, self.doc.title) if w)
        words, size = fitted(who, 2.8, 200.0, 2.2)
        foot = (
            Text(MARGIN_MM, y, words, size, colour=GREY),
            Text(WIDE_MM - MARGIN_MM, y, f"{number} of {of}", 2.8, "end", colour=GREY),
        )
        return Page(page.width_mm, page.height_mm, page.name, (*page.items, *foot))

    def _page(self, name: str, items: list[Item]) -> Page:
        return Page(WIDE_MM, HIGH_MM, name, tuple(items))

    def _sized(self) -> str:
        return f"{self.size[0]:,.0f} × {self.size[1]:,.0f} mm"

    def _in_box(self, x0: float, y0: float, x1: float, y1: float, px_mm: float) -> list[Item]:
        """Return the whole work in the middle of a box on the paper, a hair line about it."""
        by = min((x1 - x0) / self.size[0], (y1 - y0) / self.size[1])
        w, h = self.size[0] * by, self.size[1] * by
        x, y = (x0 + x1 - w) / 2, (y0 + y1 - h) / 2
        picture = whole_of(self.doc, self.drawn, px_mm * by)
        ring = _ring(x, y, w, h)
        return [Picture(x, y, w, h, picture), Paths.of([ring], pen=FAINT, pen_mm=0.2)]


def whole_of(doc: Commission, drawn: Drawn, px_per_mm: float) -> Pixels:
    """Return the finished size of a work, as fine as is asked for and of use."""
    wide, high = doc.width_mm, doc.height_mm
    most = (MOST_PX / (wide * high)) ** 0.5
    return drawn(float(min(px_per_mm, MOST_PX_MM, most)), (0.0, 0.0, wide, high))


def seen_in_place(
    doc: Commission, images: Mapping[str, bytes], drawn: Drawn, fineness: float = 1.5
) -> Pixels:
    """Return the work in its photograph, or on a plain wall where there is none.

    Parameters
    ----------
    fineness : float
        How finely the work is drawn beforehand, against the pixels it is seen in.

    Raises
    ------
    core.errors.EmblemaError
        The photograph cannot be read.
    """
    size, place = (doc.width_mm, doc.height_mm), doc.in_place
    if place is None:
        by = fineness * inplace.plain_px_per_mm(size)
        return inplace.on_plain_wall(whole_of(doc, drawn, by), size, _outline(doc))
    photograph = read_image(images[place.image], "photograph of the wall")
    by = fineness * inplace.px_per_mm(size, place)
    return inplace.placed(photograph, whole_of(doc, drawn, by), size, place, _outline(doc))


class _Column:
    """Words one under the other in a column of the page."""

    def __init__(self, x: float, wide: float) -> None:
        self.x, self.wide, self.y = x, wide, MARGIN_MM + 3.0
        self.items: list[Item] = []

    def head(self, words: str) -> None:
        self.y += 6.0 if self.items else 0.0
        self.items.append(_head(self.x, self.y, words))
        self.y += 9.0

    def line(self, words: str) -> None:
        for part in wrapped(words, 3.6, self.wide):
            self.items.append(Text(self.x, self.y, part, 3.6, colour=INK))
            self.y += 5.6

    def row(self, name: str, amount: str) -> None:
        end = self.x + self.wide
        self.items.append(Text(self.x, self.y, name, 3.6, colour=INK))
        self.items.append(Text(end, self.y, amount, 3.6, "end", colour=INK))
        self.y += 5.6


def _head(x: float, y: float, words: str) -> Text:
    return Text(x, y, words, 5.0, colour=INK, bold=True)


def _ring(x: float, y: float, wide: float, high: float) -> NDArray[np.float64]:
    return np.array([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]])


def finest_place(
    layout: Layout, part_mm: tuple[float, float], size_mm: tuple[float, float]
) -> tuple[float, float]:
    """Return the middle of the part of a work, of a given size, that has most pieces in it."""
    centres = [f.pieces.centre_mm for f in layout.fields if len(f.pieces)]
    if not centres:
        return size_mm[0] / 2, size_mm[1] / 2
    at = np.concatenate(centres)
    step = 8.0
    counts, xs, ys = np.histogram2d(
        at[:, 0],
        at[:, 1],
        bins=[max(1, int(np.ceil(s / step))) for s in size_mm],
        range=[[0, size_mm[0]], [0, size_mm[1]]],
    )
    from scipy.ndimage import uniform_filter

    within = uniform_filter(counts, [max(1, round(p / step)) for p in part_mm], mode="constant")
    i, j = np.unravel_index(int(np.argmax(np.round(within, 9))), within.shape)
    return float((xs[i] + xs[i + 1]) / 2), float((ys[j] + ys[j + 1]) / 2)


def _outline(doc: Commission) -> shapely.Geometry:
    shapes = [polygon_of(f.outline) for f in doc.fields]
    joint = max((f.laying.joint_mm for f in doc.fields), default=1.0)
    return shapely.buffer(shapely.union_all(shapes), joint / 4, join_style="mitre")


def _price(doc: Commission, f: Figures) -> list[tuple[str, str]]:
    """Return what is said of the price, line by line."""
    price, rows = f.price, []
    if doc.proof.price == "parts":
        apart = [x for x in price.lines if x.key in TOLD_APART]
        making = price.net - sum((x.amount for x in apart), NOTHING)
        rows = [("Materials and making", making), *((x.words, x.amount) for x in apart)]
        rows += [("Tax", price.tax)] if price.tax else []
    rows.append(("In all", price.total))
    return [(words, paid(amount, doc.currency)) for words, amount in rows]


def _reduced(pixels: Pixels, by: float) -> Pixels:
    """Return a picture brought down to so much of its size, where that is less than all."""
    if by >= 1:
        return pixels
    from PIL import Image

    high, wide = pixels.shape[:2]
    size = (max(1, round(wide * by)), max(1, round(high * by)))
    return np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.LANCZOS))
