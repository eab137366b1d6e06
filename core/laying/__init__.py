"""Lays one field: from an outline and its flow lines to finished tesserae."""

from core.laying.spec import Setting, lay_field

__all__ = ["Setting", "lay_field"]
