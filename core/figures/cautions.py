"""What is said wherever work can hurt someone; local codes and licensed practice decide."""

from __future__ import annotations

from typing import Final

CAUTIONS: Final = (
    "Dust: cut wet or with extraction; respirable crystalline silica is limited to 50 ug/m3 "
    "(29 CFR 1926.1153). Wear a mask that fits.",
    "Eyes: wear eye protection (ANSI Z87.1 or EN 166) whenever glass, stone or shell is cut.",
    "Wet cement burns skin and eyes: gloves, and wash at once.",
    "Two-part epoxy sensitises skin: nitrile gloves and fresh air; mix what is laid in about "
    "20 minutes.",
    "Weight: the weakest layer of the wall governs; have the wall judged before setting.",
    "Sockets, cookers, hobs, water and structure: local codes and a licensed tradesperson decide.",
)
