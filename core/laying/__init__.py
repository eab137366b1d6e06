"""Lays one field: from an outline and its flow lines to finished tesserae."""

from core.laying.lay import lay_field
from core.laying.sidebyside import SideBySide
from core.laying.spec import Setting

__all__ = ["Setting", "SideBySide", "lay_field"]
