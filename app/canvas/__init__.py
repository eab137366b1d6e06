"""The bench: the sketch below, fields, flow lines and tesserae above."""

from app.canvas.bench import Bench

__all__ = ["Bench"]
