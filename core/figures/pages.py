"""All figures as pages to read: what is laid, lost, covered, ordered, weighed, and what suits."""

from __future__ import annotations

from core.agreed import mark_of, piece_marks
from core.commission import Commission
from core.drawing import Page
from core.figures.breakdown import BARE, Parts, Tally, parts_of
from core.figures.cautions import CAUTIONS
from core.figures.counts import Count
from core.figures.order import orders
from core.figures.orderpage import amount_said
from core.figures.sums import bed_said
from core.figures.weights import kilo_off, reckoned_a_kg
from core.figures.whole import Figures, figures
from core.material import Material
from core.pieces import Layout
from core.report import Column, Report
from core.suitability import LEVELS, unsuited

KILO_OFF = 0.1  # by which weighed and reckoned pieces to the kilo may differ unsaid

_MATERIALS = (
    Column("Code", 1.3),
    Column("Material", 3.4),
    Column("Laid", 1.0, True),
    Column("Takes", 1.0, True),
    Column("In hand", 1.1, True),
    Column("Covers", 1.1, True),
    Column("Short", 1.0, True),
    Column("To order", 2.6),
)
_KILO = (
    Column("Code", 1.3),
    Column("Material", 3.4),
    Column("Weighed", 1.2, True),
    Column("By size and density", 2.0, True),
    Column("", 1.0, True),
)
_LOSSES = (
    Column("", 2.6),
    Column("Pieces", 1.0, True),
    Column("Net, cm²", 1.2, True),
    Column("Net, kg", 1.1, True),
    Column("Offcuts", 1.1, True),
    Column("Cutting", 1.1, True),
    Column("Sorting", 1.1, True),
    Column("To have, kg", 1.3, True),
    Column("Lost", 0.9, True),
)
_SUITS = (
    Column("", 1.2),
    Column("What", 1.7),
    Column("Finding and reason", 3.6),
    Column("Instead", 2.8),
    Column("Source", 1.9),
)
_GOODS = (Column("", 2.4), Column("Amount", 1.4, True), Column("", 0.2), Column("Made of", 5.0))


def figures_pages(doc: Commission, layout: Layout) -> list[Page]:
    """Return the figures of a layout on upright pages of A4."""
    f, parts = figures(doc, layout), parts_of(doc, layout)
    mark = mark_of(piece_marks(doc, layout))
    report = Report(
        f"Figures: {doc.title}" if doc.title else "Figures",
        f"{doc.width_mm:g} × {doc.height_mm:g} mm, counted from the pieces as they are laid, mark "
        f"{mark}. All of it is an estimate.",
        f"mark {mark}   {doc.title}   figures",
    )
    report.head("Altogether")
    report.say(
        f"{f.pieces:,} pieces on {f.area_m2:.3f} m², {f.pieces_kg:.2f} kg; with bed and grout "
        f"{f.total_kg:.1f} kg, {f.kg_m2:.1f} kg/m². About {f.hours:.0f} hours of laying."
    )
    if f.unmatched:
        report.say(f"{f.unmatched:,} pieces have no material: they are in no weight and no order.")
    _materials(report, doc, f)
    _goods(report, doc, f)
    _weight(report, doc, f)
    _suits(report, doc, layout)
    _losses(report, parts)
    report.head("With care")
    for caution in CAUTIONS:
        report.say(caution, 2.6)
    return report.pages()


def covers(c: Count) -> str:
    """Return what share of what is taken the stock covers, in words."""
    if c.bare or not c.take:
        return ""
    return "all" if not c.short else f"{100 * c.material.pieces / c.take:.0f} %"


def _materials(report: Report, doc: Commission, f: Figures) -> None:
    report.head("What it takes, what is in hand, what to order")
    to_order = {x.material.code: x for o in orders(doc, f.counts) for x in o.lines}
    rows, told = [], set()
    for c in f.counts:
        m, line = c.material, to_order.get(c.order)
        amount = amount_said(line) if line and c.order not in told else ""
        told.add(c.order)
        if c.bare:
            rows.append(["", "without a material", f"{c.pieces:,}", "", "", "", "", ""])
            continue
        rows.append(
            [
                *(m.code, m.description, f"{c.pieces:,}", f"{c.take:,}", f"{m.pieces:,}"),
                *(covers(c), f"{c.short:,}" if c.short else "", amount),
            ]
        )
    marked = [bool(c.short or c.bare) for c in f.counts]
    report.table(_MATERIALS, rows, marked=marked)
    report.say(
        "Takes, in hand and short are stocked pieces as bought, losses of cutting and sorting in "
        "them. Of what is short more is ordered in whole packs where it is sold so.",
        2.6,
    )
    if large := [f"{c.material.code} ({c.too_large:,})" for c in f.counts if c.too_large]:
        report.say(f"Larger than what they are stocked as: {', '.join(large)}.", 2.6)
    weighed = [c.material for c in f.counts if c.material.pieces_a_kg]
    if weighed:
        report.head("Pieces to the kilo")
        off = [abs(kilo_off(m)) > KILO_OFF for m in weighed]
        report.table(_KILO, [_kilo(m) for m in weighed], marked=off)
        if any(off):
            report.say(
                "Where the two differ, weigh again, or correct size or density. What was weighed "
                "counts.",
                2.6,
            )


def _kilo(m: Material) -> list[str]:
    times = 1 + kilo_off(m)
    return [
        m.code,
        m.description,
        f"{m.pieces_a_kg:,.0f}",
        f"{reckoned_a_kg(m):,.0f}",
        _times(times),
    ]


def _times(x: float) -> str:
    return f"× {x:,.0f}" if x >= 10 else f"× {x:.2f}"


def kilo_said(m: Material) -> str:
    """Return how many pieces go to the kilo, as weighed and as reckoned, and whether they agree."""
    reckoned = reckoned_a_kg(m)
    words = f"{m.code}: {m.pieces_a_kg:,.0f} as weighed, {reckoned:,.0f} by size and density"
    if abs(kilo_off(m)) > KILO_OFF:
        words += f" ({_times(1 + kilo_off(m))}): weigh again, or correct size or density"
    return words


def _losses(report: Report, parts: Parts) -> None:
    report.head("What is laid, and what cutting and sorting lose, kg")
    materials = parts.tallies("material")
    report.table(_LOSSES, [_loss(t) for t in materials], _loss(_together(materials)))
    report.say(
        "Offcuts: each piece against the blank it is cut from. Cutting: what breaks beside. "
        "Sorting: broken, off colour, of the wrong size.",
        2.6,
    )
    ways = [("field", "By field"), ("motif", "By motif"), ("sheet", "By sheet")]
    for what, head in ways:
        some = parts.tallies(what)
        if len(some) > 1:
            report.head(head)
            report.table(_LOSSES, [_loss(t) for t in some], _loss(_together(some)))


def _loss(t: Tally) -> list[str]:
    name = "without a material" if t.name == BARE else t.name
    lost = 1 - t.net_kg / t.buy_kg if t.buy_kg else 0.0
    kilos = (t.net_kg, t.offcuts_kg, t.cutting_kg, t.sorting_kg, t.buy_kg)
    return [
        *(name, f"{t.pieces:,}", f"{t.net_mm2 / 100:,.0f}"),
        *(f"{kg:,.3f}" for kg in kilos),
        f"{100 * lost:.0f} %",
    ]


def _together(some: tuple[Tally, ...]) -> Tally:
    names = ("pieces", "net_mm2", "net_kg", "offcuts_kg", "cutting_kg", "sorting_kg")
    return Tally("Together", *(sum(getattr(t, name) for t in some) for name in names))


def _goods(report: Report, doc: Commission, f: Figures) -> None:
    report.head("Grout, adhesive and the like")
    r = doc.rates
    rows = [
        [
            "Grout",
            f"{f.grout_bought_kg:.2f} kg",
            "",
            f"joints {f.joint_dm3:.3f} dm³ × {r.grout_kg_dm3:g} kg/dm³ = {f.grout_kg:.2f} kg, and "
            f"{100 * r.grout_surplus:.3g} % surplus",
        ],
        [
            "Adhesive",
            f"{f.adhesive_bought_kg:.2f} kg",
            "",
            f"{f.area_m2:.3f} m² × {bed_said(r)} × {r.adhesive_kg_m2_mm:.3g} kg/m² a mm"
            + (
                f", and {100 * r.goods.adhesive_surplus:.3g} % surplus"
                if r.goods.adhesive_surplus
                else ""
            ),
        ],
    ]
    for g in f.goods:
        a_m2 = g.amount / f.area_m2 if f.area_m2 else 0.0
        unit = g.unit.replace("m2", "m²")
        made = f"{f.area_m2:.3f} m² × {a_m2:.3g} {unit} a m²"
        rows.append([g.words, f"{g.amount:.2f} {unit}", "", made])
    report.table(_GOODS, rows)
    if f.grout_kg:
        report.say(short_grout_said(f), 2.6)


def short_grout_said(f: Figures) -> str:
    """Return what the trade's short form would say of the grout, and how far that is off."""
    off = 100 * (f.short_grout_kg / f.grout_kg - 1)
    return (
        f"The short form (L + W)/(L W) × depth × joint would say {f.short_grout_kg:.2f} kg of "
        f"grout in the joints, {off:+.0f} %: it reckons crossings twice, and pieces are not all "
        "of their nominal size."
    )


def _weight(report: Report, doc: Commission, f: Figures) -> None:
    report.head("Weight on the wall")
    report.say(limit_said(doc, f))
    walls = ", ".join(f"{n} {limit:g}" for n, limit, _ in f.walls)
    report.say(
        f"Most that they carry with bed and grout, kg/m²: {walls} (BS 5385-1:2018). The weakest "
        "layer governs, paint and old plaster too.",
        2.6,
    )


def limit_said(doc: Commission, f: Figures) -> str:
    """Return whether what the work is set on carries it."""
    weight, on = f"{f.kg_m2:.1f} kg/m²", doc.place.substrate
    limit = doc.place.limit_kg_m2
    if not on:
        return f"{weight} with bed and grout. What it is set on is not chosen (Brief)."
    if limit is None:
        return f"{weight} on {on}: no limit is published; ask whoever answers for the structure."
    if f.kg_m2 > limit:
        return f"{weight} is more than {on} carries, {limit:g} kg/m²."
    return f"{weight}, of {limit:g} kg/m² that {on} carries."


def _suits(report: Report, doc: Commission, layout: Layout) -> None:
    place = doc.place.kind + (", beside a cooker" if doc.place.cooker else "")
    report.head(f"Does it suit the place: {place or 'not chosen'}")
    found = unsuited(doc, layout)
    if not place:
        report.say("Choose the place on the Brief leaf.")
    elif not found:
        report.say("Nothing known speaks against it. The last word is the makers'.")
    rows = [[LEVELS[u.level], u.named, f"{u.finding}. {u.why}", u.instead, u.source] for u in found]
    if rows:
        report.table(_SUITS, rows, marked=[u.level == "no" for u in found])
