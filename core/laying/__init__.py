"""Lays one field: from an outline and its flow lines to finished tesserae."""

from core.laying.lay import GUIDE_REACH, SOLVER_VERSION, lay_field
from core.laying.sidebyside import SideBySide
from core.laying.spec import Setting

__all__ = ["GUIDE_REACH", "SOLVER_VERSION", "Setting", "SideBySide", "lay_field"]
