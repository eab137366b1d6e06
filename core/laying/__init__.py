"""Lays one field: from an outline and its flow lines to finished tesserae."""

from core.laying.lay import lay_field
from core.laying.spec import Setting

__all__ = ["Setting", "lay_field"]
