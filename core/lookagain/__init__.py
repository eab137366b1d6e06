"""Look again: the pieces that a craftsman would take out, why, and what to do about each."""

from core.lookagain.finding import Finding
from core.lookagain.mends import Mended, mend, mend_all
from core.lookagain.rules import look_again, scores

__all__ = ["Finding", "Mended", "look_again", "mend", "mend_all", "scores"]
