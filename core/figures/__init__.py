"""What a layout needs, weighs, costs and takes."""

from core.figures.breakdown import Parts, Tally, parts_of
from core.figures.cautions import CAUTIONS
from core.figures.counts import BARE, COLUMNS, Count, counts, needed_instead, write_counts_csv
from core.figures.hours import EFFORT, Work
from core.figures.order import Order, orders
from core.figures.quote import Line, Quote, tax_line, work_parts
from core.figures.weights import grout_kg_m2, kilo_off, reckoned_a_kg, short_grout_kg_m2
from core.figures.whole import Figures, Good, figures
from core.place import WALLS

__all__ = [
    "BARE",
    "CAUTIONS",
    "COLUMNS",
    "EFFORT",
    "WALLS",
    "Count",
    "Figures",
    "Good",
    "Line",
    "Order",
    "Parts",
    "Quote",
    "Tally",
    "Work",
    "counts",
    "figures",
    "grout_kg_m2",
    "kilo_off",
    "needed_instead",
    "orders",
    "parts_of",
    "reckoned_a_kg",
    "short_grout_kg_m2",
    "tax_line",
    "work_parts",
    "write_counts_csv",
]
