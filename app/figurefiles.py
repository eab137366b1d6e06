"""What is written about figures into one folder: for the window and the command line alike."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from app.painting import write_pdf
from core.commission import Commission
from core.figures import Order, counts, orders, write_counts_csv
from core.figures.breakdown import write_quantities_csv
from core.figures.order import file_names, write_order_csv
from core.figures.orderpage import order_pages
from core.figures.pages import figures_pages
from core.figures.sums import write_sums_csv
from core.pieces import Layout
from core.suitability import unsuited, write_suitability_csv


def write_figures(folder: str | Path, doc: Commission, layout: Layout) -> tuple[str, ...]:
    """Write all figures, as figures.pdf to read and lists to reckon with; return their names.

    counts.csv has a row a material, quantities.csv what of it is in each field, motif and sheet,
    sums.csv the whole work with grout, adhesive and the like, suitability.csv what does not suit
    the place.
    """
    out = Path(folder)
    write_counts_csv(out / "counts.csv", doc, layout)
    write_quantities_csv(out / "quantities.csv", doc, layout)
    write_sums_csv(out / "sums.csv", doc, layout)
    write_suitability_csv(out / "suitability.csv", unsuited(doc, layout))
    write_pdf(out / "figures.pdf", figures_pages(doc, layout), doc.title)
    return "figures.pdf", "counts.csv", "quantities.csv", "sums.csv", "suitability.csv"


def write_orders(
    folder: str | Path, doc: Commission, layout: Layout, on: str = ""
) -> tuple[Order, ...]:
    """Write an order for each supplier, as PDF and CSV; return them.

    `on` is the day on them (YYYY-MM-DD), today where left out.
    """
    out, day = Path(folder), on or date.today().isoformat()
    found = orders(doc, counts(doc, layout))
    for order, name in zip(found, file_names(found), strict=True):
        write_order_csv(out / f"{name}.csv", order, doc.currency)
        write_pdf(out / f"{name}.pdf", order_pages(doc, order, day), f"{doc.title} {order.named}")
    return found
