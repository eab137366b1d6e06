"""A motif laid once and repeated: where its places lie, and the links between them."""

from core.repeats.arrange import WAYS, Arranged, Wish, arranged
from core.repeats.carry import carry
from core.repeats.links import add_repeat, part_places

__all__ = ["WAYS", "Arranged", "Wish", "add_repeat", "arranged", "carry", "part_places"]
