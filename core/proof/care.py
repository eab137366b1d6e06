"""How the client keeps the work clean, by what it is made of (common practice)."""

from __future__ import annotations

from collections.abc import Collection

_ACIDS = "marble", "stone", "shell"


def care_of(kinds: Collection[str], finishes: Collection[str] = ()) -> tuple[str, ...]:
    """Return in plain words what is good for a work of these kinds and finishes, and what is not.

    Parameters
    ----------
    kinds, finishes
        Of `core.material.KINDS` and `core.material.FINISHES`.
    """
    out = [
        "Wipe it with clear water and a soft cloth, then dry it; neutral soap where it is needed."
    ]
    if any(kind in kinds for kind in _ACIDS):
        out.append(
            "Nothing acid on it, no vinegar, lemon or lime remover: acid etches marble, limestone "
            "and shell at once and for good. Wipe up wine, oil and coffee soon."
        )
    else:
        out.append("No lime remover on it: acid eats cement grout.")
    if "gold glass" in kinds or "metallic" in finishes:
        out.append("Gold lies under a breath of glass: never scour it, never scrape at it.")
    if "smalti" in kinds:
        out.append("Smalti have small pits of their own; a soft brush takes dust out of them.")
    out.append("No scouring cream, steel wool or high-pressure jet: grout wears before glass does.")
    return tuple(out)
