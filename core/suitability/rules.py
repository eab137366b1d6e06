"""What does not suit which place: one table of rules, with reasons and sources.

Where no standard says, it is common practice, and said to be. A rule is quiet where a
test on the material answers it. The last word is the maker's, for the very product.

References
----------
EN 12004-1 (adhesives: C1 holds 0.5, C2 1.0 N/mm2; S1 bends 2.5 mm, S2 5 mm, EN 12002), EN 13888
(grouts), EN 14411 (ceramic tiles, groups by water absorption), EN ISO 10545-12 (their frost),
EN 12371 (frost of natural stone), EN 16165 (pendulum), ANSI A137.2 (glass tile), BS 5385-1 and -4
(walls; wet places). Mohs: calcite 3, aragonite 3.5 to 4, glass about 5.5, quartz 7 (handbooks).
"""

from __future__ import annotations

from typing import Final

from core.material import Material
from core.place import PLACES
from core.suitability.rule import Rule, Test

PRACTICE: Final = "common practice"

SHOWER: Final = ("shower wall", "shower floor")
OUTDOORS: Final = ("outdoor wall", "outdoor floor")
WALKED: Final = ("shower floor", "floor", "outdoor floor")
EVERYWHERE: Final = PLACES
GLASS: Final = ("smalti", "gold glass", "vitreous")
CALCITE: Final = ("marble", "shell")
STONES: Final = ("marble", "stone")

SAFE_PTV: Final = 36.0  # wet pendulum value from which the risk of slipping is low
# What paving of natural stone is to withstand (EN 1341, from memory); walls ask for less.
FROST_CYCLES: Final = 56
DENSE, FROST_DENSE, POROUS = 0.5, 3.0, 10.0  # water absorption, %: EN 14411 groups Ia, Ib, II


def _polished(m: Material) -> bool:
    return m.finish != "matt"


def _matt(m: Material) -> bool:
    return m.finish == "matt"


def _slips(m: Material) -> bool:
    return 0 < m.slip_ptv < SAFE_PTV


def _smooth_untested(m: Material) -> bool:
    return m.slip_ptv == 0 and _polished(m)


def _rough_untested(m: Material) -> bool:
    return m.slip_ptv == 0 and _matt(m)


def _absorbs(low: float, high: float) -> Test:
    return lambda m: low < m.absorption <= high


def _unknown(m: Material) -> bool:
    return m.absorption == 0


def _frost_untested(m: Material) -> bool:
    return m.frost_cycles == 0


def _frost_short(m: Material) -> bool:
    return 0 < m.frost_cycles < FROST_CYCLES


def _leafed(m: Material) -> bool:
    return m.kind == "gold glass" or m.finish in ("metallic", "iridescent")


def _clear(m: Material) -> bool:
    return m.finish == "transparent"


RULES: Final = (
    # acids and stains
    Rule(
        *(("kitchen splash",), "no", "etched by lemon, vinegar and wine"),
        "It is calcium carbonate: weak acids dissolve it, and dull spots stay on a polish.",
        f"chemistry of calcium carbonate; {PRACTICE}",
        "Smalti, vitreous glass or glazed ceramic.",
        kinds=CALCITE,
        when=_polished,
    ),
    Rule(
        *(("kitchen splash",), "care", "etched by lemon, vinegar and wine"),
        "It is calcium carbonate: weak acids dissolve it. On a matt face it shows less.",
        f"chemistry of calcium carbonate; {PRACTICE}",
        "Glass or glazed ceramic; or tell the client that it will age, and wipe at once.",
        kinds=CALCITE,
        when=_matt,
    ),
    Rule(
        *(("kitchen splash",), "care", "takes stains of oil and wine"),
        "Stone has pores, and oil that has gone in does not come out.",
        PRACTICE,
        "Seal it before grouting and again as the maker says; or glass.",
        kinds=STONES,
    ),
    Rule(
        *((*SHOWER, "pool"), "care", "etched by what takes off lime"),
        "It is calcium carbonate: acid cleaners and soft or acid pool water dissolve it.",
        f"chemistry of calcium carbonate; {PRACTICE}",
        "Glass or dense ceramic; or tell the client: no acid cleaner, pool water in balance.",
        kinds=CALCITE,
    ),
    # wear
    Rule(
        *(WALKED, "no", "too brittle or too thinly covered to walk on"),
        "Shell is aragonite (Mohs 3.5 to 4) and splits; over gold lies a mere skin of glass. Sand "
        "on shoes is quartz (Mohs 7).",
        f"Mohs, mineral handbooks; {PRACTICE}",
        "Matt marble or dense ceramic; gold as yellow smalti let in below the face.",
        when=lambda m: m.kind == "shell" or _leafed(m),
    ),
    Rule(
        *(WALKED, "care", "softer than the sand on shoes"),
        "Calcite is Mohs 3, quartz sand 7: a polish is gone in a season, the shape stays.",
        f"Mohs, mineral handbooks; {PRACTICE}",
        "Hone it matt, so that wear is even; mats at the door; or dense ceramic.",
        kinds=("marble",),
    ),
    Rule(
        *(WALKED, "ask", "glass underfoot is scratched, and chips at its edges"),
        "Glass is about Mohs 5.5, quartz sand 7. A glass tile is for floors only if its maker says "
        "so.",
        "ANSI A137.2 (floor use as declared); Mohs, handbooks",
        "Ask the maker; or marble, matt, or dense ceramic.",
        kinds=("smalti", "vitreous"),
    ),
    # slip
    Rule(
        *((*WALKED, "pool"), "no", "slips when wet"),
        f"Its wet pendulum value is below {SAFE_PTV:g}, from which the risk of slipping is low.",
        f"EN 16165, annex C; {SAFE_PTV:g}: UK Slip Resistance Group",
        "The same with a rougher face, tested; small pieces with many joints help, but no test "
        "reckons them.",
        when=_slips,
    ),
    Rule(
        *(WALKED, "no", "smooth, and no slip test is known"),
        f"A floor that gets wet wants a pendulum value of {SAFE_PTV:g} or more, wet.",
        f"EN 16165, annex C; {SAFE_PTV:g}: UK Slip Resistance Group",
        "A matt or riven face, with a test; or have a laid sample tested.",
        when=_smooth_untested,
    ),
    Rule(
        *(WALKED, "ask", "no slip test is known"),
        f"A floor that gets wet wants a pendulum value of {SAFE_PTV:g} or more, wet.",
        f"EN 16165, annex C; {SAFE_PTV:g}: UK Slip Resistance Group",
        "Ask the maker and enter the value with the material; or have a laid sample tested.",
        when=_rough_untested,
    ),
    # frost
    Rule(
        *(OUTDOORS, "no", "parts in frost and fades in the sun"),
        "Shell is thin layers with pores between.",
        PRACTICE,
        "White marble tested for frost, or pale smalti.",
        kinds=("shell",),
    ),
    Rule(
        *(OUTDOORS, "ask", "no frost test is known"),
        "Some stones split in frost, and some marbles turn to sugar by warmth and cold alone; the "
        "name does not tell which.",
        f"EN 12371, EN 14066 (marble); {FROST_CYCLES} cycles for paving: EN 1341, from memory",
        "Ask the quarry for its test and enter the cycles with the material; or vitreous glass.",
        kinds=STONES,
        when=_frost_untested,
    ),
    Rule(
        *(("outdoor floor",), "no", "withstood too few cycles of frost"),
        f"Paving is to withstand {FROST_CYCLES}.",
        "EN 12371, EN 1341 (number from memory)",
        "A stone that withstood more, or dense ceramic.",
        kinds=STONES,
        when=_frost_short,
    ),
    Rule(
        *((*OUTDOORS, "pool"), "no", "takes up too much water"),
        f"Over {POROUS:g} % is group III: for walls indoors only.",
        "EN 14411",
        f"Group Ia, {DENSE:g} % or less; or vitreous glass.",
        kinds=("ceramic",),
        when=_absorbs(POROUS, 100),
    ),
    Rule(
        *((*OUTDOORS, "pool"), "no", "takes up too much water"),
        f"From {FROST_DENSE:g} to {POROUS:g} % is group II, which frost and standing water burst "
        "unless its maker declares it proof.",
        "EN 14411, EN ISO 10545-12",
        f"Group Ia, {DENSE:g} % or less; or vitreous glass.",
        kinds=("ceramic",),
        when=_absorbs(FROST_DENSE, POROUS),
    ),
    Rule(
        *(OUTDOORS, "ask", "proof against frost only if declared"),
        f"From {DENSE:g} to {FROST_DENSE:g} % is group Ib.",
        "EN 14411, EN ISO 10545-12",
        f"Ask the maker; or group Ia, {DENSE:g} % or less.",
        kinds=("ceramic",),
        when=_absorbs(DENSE, FROST_DENSE),
    ),
    Rule(
        *((*OUTDOORS, "pool"), "ask", "nobody says how much water it takes up"),
        f"Dense ceramic ({DENSE:g} % or less, group Ia) stands frost and pools; porous bursts.",
        "EN 14411, EN ISO 10545-3",
        "Ask the maker and enter the value with the material.",
        kinds=("ceramic",),
        when=_unknown,
    ),
    Rule(
        *(OUTDOORS, "care", "gold may come off where its edge is open"),
        "Water creeps between leaf and cover at cut edges, and frost lifts it.",
        PRACTICE,
        "Ask for gold made for outdoors; cut it from the back and fill its joints; or yellow "
        "smalti.",
        when=_leafed,
    ),
    Rule(
        *(OUTDOORS, "care", "sun and shade strain glass"),
        "It warms unevenly; glass tile is tested for thermal shock, smalti seldom.",
        "ANSI A137.2 (thermal shock)",
        "Full bed, adhesive that bends (S1), joints of 2 mm or more, movement joints.",
        kinds=GLASS,
    ),
    # pools
    Rule(
        *(("pool",), "no", "goes dull and parts in pool water"),
        "Chlorine and acid take the leaf at cut edges; shell is thin layers of carbonate.",
        PRACTICE,
        "Vitreous glass, or gold that its maker declares for pools.",
        when=lambda m: m.kind == "shell" or _leafed(m),
    ),
    # heat
    Rule(
        *(EVERYWHERE, "no", "yellows and splits in heat"),
        "Shell holds a glue of its own between its layers, which dries and chars.",
        PRACTICE,
        "Keep it away from hob and cooker; pale smalti or marble there.",
        kinds=("shell",),
        cooker=True,
    ),
    Rule(
        *(EVERYWHERE, "care", "heat and steam strain glass"),
        "Hot on one side it may crack, and over leaf the cover may come off. Glass tile is tested "
        "for thermal shock.",
        f"ANSI A137.2 (thermal shock); {PRACTICE}",
        "Keep the distance that the cooker's maker and local code ask; full bed behind each piece.",
        kinds=GLASS,
        cooker=True,
    ),
    Rule(
        *(EVERYWHERE, "no", "goes soft behind a cooker"),
        "Ready-mixed paste and resin lose their hold when hot; resin from about 60 °C.",
        f"EN 12004-1 (classes D and R); 60 °C from memory; {PRACTICE}",
        "A cement adhesive, C2.",
        what="adhesive",
        classes=("D2", "R1", "R2"),
        cooker=True,
    ),
    Rule(
        *(EVERYWHERE, "care", "may brown behind a cooker"),
        "Resin grout softens and yellows when hot.",
        PRACTICE,
        "Cement grout, CG2 W A, sealed.",
        what="grout",
        classes=("RG",),
        cooker=True,
    ),
    # what shows through
    Rule(
        *(EVERYWHERE, "care", "the bed shows through"),
        "Combing and hollows are seen; water behind it too. It wants full contact.",
        f"ANSI A108.5 (95 % in wet places and outside); {PRACTICE}",
        "White adhesive, smoothed before setting.",
        when=_clear,
    ),
    Rule(
        *((*SHOWER, *OUTDOORS, "floor", "pool"), "ask", "of a kind that no rule knows"),
        "Water, frost and wear are not known of it.",
        PRACTICE,
        "Ask its maker; try a laid sample.",
        kinds=("other",),
    ),
    # adhesive
    Rule(
        *(EVERYWHERE, "ask", "its class is not chosen"),
        "Dry walls ask for C1; under glass, in kitchens and wet places C2; floors and outdoors "
        "C2 S1; pools C2 S1 or R2.",
        "EN 12004-1",
        "Choose it on the Brief leaf.",
        what="adhesive",
        classes=("",),
    ),
    Rule(
        *((*SHOWER, *OUTDOORS, "floor", "pool"), "no", "gives way in water and under load"),
        "Ready-mixed paste hardens by drying, and softens again where water stands.",
        "EN 12004-1 (class D)",
        "C2; C2 S1 on floors and outdoors; C2 S1 or R2 in pools.",
        what="adhesive",
        classes=("D2",),
    ),
    Rule(
        *(EVERYWHERE, "no", "does not dry behind glass"),
        "Ready-mixed paste hardens by drying, and glass lets no water out.",
        f"EN 12004-1 (class D); {PRACTICE}",
        "White C2, or R2.",
        what="adhesive",
        classes=("D2",),
        beneath=GLASS,
    ),
    Rule(
        *((*OUTDOORS, "floor", "shower floor", "pool"), "no", "holds too little there"),
        "C1 holds 0.5 N/mm2, C2 twice that, after water, heat and frost too.",
        "EN 12004-1",
        "C2 S1; C2 S1 or R2 in pools.",
        what="adhesive",
        classes=("C1",),
    ),
    Rule(
        *(("dry wall", "kitchen splash", "shower wall"), "care", "holds too little on glass"),
        "Glass takes up no water, so that only the better cement holds on it: C1 0.5, C2 1.0 "
        "N/mm2.",
        "EN 12004-1",
        "White C2.",
        what="adhesive",
        classes=("C1",),
        beneath=GLASS,
    ),
    Rule(
        *((*OUTDOORS, "floor"), "care", "bends too little"),
        "Sun, frost and load move the ground; S1 bends 2.5 mm before it breaks, S2 5 mm.",
        "EN 12004-1, EN 12002",
        "C2 S1, or S2 on boards.",
        what="adhesive",
        classes=("C2",),
    ),
    # grout
    Rule(
        *(EVERYWHERE, "ask", "its class is not chosen"),
        "Dry walls ask for CG1; kitchens, showers and outdoors CG2 taking up little water (W); "
        "floors CG2 little abraded (A); pools CG2 W A or RG.",
        "EN 13888",
        "Choose it on the Brief leaf.",
        what="grout",
        classes=("",),
    ),
    Rule(
        *(("kitchen splash",), "no", "takes stains of fat, wine and spice"),
        "Plain cement grout has pores.",
        f"EN 13888; {PRACTICE}",
        "RG, or CG2 W A and sealed.",
        what="grout",
        classes=("CG1",),
    ),
    Rule(
        *(("kitchen splash",), "care", "takes stains unless sealed"),
        "Cement grout has pores; W takes up less water, but not less oil.",
        f"EN 13888; {PRACTICE}",
        "Seal it; or RG.",
        what="grout",
        classes=("CG2", "CG2WA"),
    ),
    Rule(
        *((*SHOWER, *OUTDOORS, "pool"), "no", "takes up too much water there"),
        "CG1 may take up 5 g of water in half an hour, W no more than 2 g.",
        "EN 13888 (grams from memory)",
        "CG2 W A; RG in pools.",
        what="grout",
        classes=("CG1",),
    ),
    Rule(
        *((*SHOWER, *OUTDOORS, "pool"), "care", "may take up too much water"),
        "Without W it may take up as much as CG1.",
        "EN 13888",
        "CG2 W A; RG in pools.",
        what="grout",
        classes=("CG2",),
    ),
    Rule(
        *(("floor",), "care", "wears out of the joints"),
        "A stands for little abraded: half of what plain classes may lose.",
        "EN 13888 (from memory: 1,000 and 2,000 mm3)",
        "CG2 A, or RG.",
        what="grout",
        classes=("CG1", "CG2"),
    ),
    Rule(
        *(EVERYWHERE, "care", "may stain pale stone, and is hard to clean off shell"),
        "Resin creeps into pores and darkens edges.",
        PRACTICE,
        "Seal the stone first and try it on a spare piece; or CG2 W A.",
        what="grout",
        classes=("RG",),
        beneath=(*STONES, "shell"),
    ),
    Rule(
        *(EVERYWHERE, "care", "sand in it scratches gold and polished marble"),
        "Quartz is Mohs 7, glass 5.5, calcite 3.",
        f"Mohs, mineral handbooks; {PRACTICE}",
        "A grout without sand, rubbed with a soft sponge; no acid to clean it off.",
        what="grout",
        classes=("CG1", "CG2", "CG2WA"),
        beneath=("gold glass", "marble", "shell"),
    ),
    # what it is set on
    Rule(
        *((*SHOWER, "pool"), "no", "gypsum softens where water reaches it"),
        "Plaster and gypsum boards are no ground for a wet place.",
        "BS 5385-1 and BS 5385-4",
        "Cement render, foam-cored or cement board, and tanking.",
        what="substrate",
        classes=("plaster", "plasterboard", "gypsum fibreboard"),
    ),
    Rule(
        *((*OUTDOORS,), "no", "not for outdoors"),
        "Gypsum dissolves in rain.",
        "BS 5385-2",
        "Cement render, concrete, brick.",
        what="substrate",
        classes=("plaster", "plasterboard", "gypsum fibreboard"),
    ),
    Rule(
        *(("dry wall", "kitchen splash"), "care", "gypsum and cement must not touch"),
        "Where they meet damp, crystals grow that push the work off.",
        f"BS 5385-1; {PRACTICE}",
        "Prime it as the adhesive's maker says.",
        what="substrate",
        classes=("plaster", "plasterboard", "gypsum fibreboard"),
    ),
)
