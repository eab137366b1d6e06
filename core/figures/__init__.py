"""What a layout needs, weighs, costs and takes."""

from core.figures.cautions import CAUTIONS
from core.figures.counts import BARE, COLUMNS, Count, counts, needed_instead, write_counts_csv
from core.figures.hours import EFFORT, Work
from core.figures.weights import WALLS, grout_kg_m2
from core.figures.whole import Figures, figures

__all__ = [
    "BARE",
    "CAUTIONS",
    "COLUMNS",
    "EFFORT",
    "WALLS",
    "Count",
    "Figures",
    "Work",
    "counts",
    "figures",
    "grout_kg_m2",
    "needed_instead",
    "write_counts_csv",
]
