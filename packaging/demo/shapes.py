"""The demo's design: a heron among reeds, as outlines in mm on a wall of 1200 x 600 mm."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from shapely import Polygon

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from core.fields import closed_curve
from core.flow import smooth_curve

Points = list[tuple[float, float]]
WIDTH, HEIGHT, FRAME, WATER = 1200.0, 600.0, 24.0, 392.0


@dataclass(frozen=True)
class Shape:
    """One field: its outline, the colours of its wash (sRGB, from above to below) and choices."""

    name: str
    motif: str
    outline: Points
    wash: tuple[tuple[int, int, int], ...]
    palette: tuple[str, ...]
    tessera: float = 9.0
    joint: float = 1.0
    choices: dict[str, object] = field(default_factory=dict)
    flow: tuple[Points, ...] = ()
    across: bool = False  # the wash runs from left to right instead


def points(xy: np.ndarray) -> Points:
    return [(round(float(x), 3), round(float(y), 3)) for x, y in xy]


def blob(*through: tuple[float, float]) -> Points:
    return points(closed_curve(list(through), 3.0))


def within_frame(outline: Points) -> Points:
    """Return an outline cut to the inside of the border."""
    inner = shapely.box(FRAME, FRAME, WIDTH - FRAME, HEIGHT - FRAME)
    return points(shapely.get_coordinates(Polygon(outline).intersection(inner).exterior)[:-1])


def ellipse(x: float, y: float, rx: float, ry: float, n: int = 72) -> Points:
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return points(np.stack([x + rx * np.cos(a), y + ry * np.sin(a)], 1))


def ribbon(spine: Points, *widths: float) -> Points:
    """Return a band along a smooth spine, its width running through the widths given."""
    c = smooth_curve(spine, 3.0)
    at = np.r_[0.0, np.cumsum(np.hypot(*np.diff(c, axis=0).T))]
    wide = np.interp(at / at[-1], np.linspace(0, 1, len(widths)), widths) / 2
    t = np.gradient(c, axis=0)
    t /= np.hypot(*t.T)[:, None]
    n = np.stack([-t[:, 1], t[:, 0]], 1)
    left, right = c + wide[:, None] * n, c - wide[:, None] * n
    if wide[-1] < 0.3:
        left, right = left[:-1], np.vstack([right[:-1], c[-1:]])
    return points(np.vstack([left, right[::-1]]))


def blade(
    base: tuple[float, float], bend: tuple[float, float], tip: tuple[float, float], width: float
) -> tuple[Points, Points]:
    """Return a reed's leaf and its midrib."""
    spine = [base, bend, tip]
    return ribbon(spine, 0.62 * width, 0.9 * width, width, 0.85 * width, 0.5 * width, 0.1), spine


def box(x0: float, y0: float, x1: float, y1: float) -> Points:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def wave(
    y: float,
    height: float,
    length: float,
    phase: float,
    x0: float = 0.0,
    x1: float = WIDTH,
    n: int = 26,
) -> Points:
    x = np.linspace(x0, x1, n)
    return points(np.stack([x, y + height * np.sin(2 * np.pi * x / length + phase)], 1))


def along(y: float, height: float, length: float, phase: float) -> Points:
    """Return a flow line through as few points as a hand would set."""
    return wave(y, height, length, phase, n=round(4 * WIDTH / length) + 1)


SKY = ("SL-09", "SP-09", "SP-78", "SP-68", "SP-39", "SL-38", "SP-28")
REED = ("SP-43", "SP-45", "SP-46", "SP-48", "SP-54", "SP-57", "SP-53")
DEEP = ("SP-63", "SP-65", "SP-67", "SP-68", "VG-64", "SP-75", "SP-76", "SP-78")


def below(y: float, top: Points) -> Points:
    """Return everything under a line, down to y."""
    return [*top, (top[-1][0], y), (top[0][0], y)]


def scene() -> list[Shape]:
    """Return every shape from the back to the front."""
    f = FRAME
    inner = box(f, f, WIDTH - f, HEIGHT - f)
    out = [
        Shape(
            "Border",
            "border",
            box(0, 0, WIDTH, HEIGHT),
            ((38, 74, 62), (30, 62, 54)),
            ("SP-52", "SP-53", "MR-53"),
            11.0,
            1.0,
            {
                "opus": "regulatum",
                "follow_border": False,
                "variation": 0.02,
                "accent": "GG-45",
                "accent_share": 0.03,
            },
        ),
        Shape(
            "Sky",
            "sky",
            inner,
            ((172, 206, 224), (200, 222, 224), (238, 228, 202), (248, 214, 172)),
            SKY,
            11.0,
            1.2,
            {
                "opus": "classicum",
                "hug": ("heron", "sun"),
                "hug_courses": 2,
                "hug_tessera_mm": 8.0,
                "follow_border": False,
            },
            (
                along(80, 7, 620, 0.4),
                along(170, 9, 620, 1.1),
                along(260, 8, 620, 1.8),
                along(330, 5, 620, 2.4),
            ),
        ),
        Shape(
            "Sun",
            "sun",
            ellipse(918, 196, 84, 84),
            ((238, 190, 84), (232, 164, 66)),
            ("GG-37", "GG-26", "SM-38", "SM-36"),
            9.0,
            1.0,
            {"accent": "GG-37", "accent_share": 0.55},
        ),
        Shape(
            "Far hills",
            "hills",
            below(WATER, wave(338, 13, 760, 0.5, f, WIDTH - f)),
            ((186, 176, 196), (202, 196, 204)),
            ("SP-86", "SP-06", "SP-08", "SL-07"),
            9.5,
            1.1,
            {"follow_border": False},
            (along(352, 11, 760, 0.5),),
        ),
        Shape(
            "Near bank",
            "hills",
            below(WATER, wave(370, 8, 540, 2.9, f, WIDTH - f)),
            ((142, 160, 128), (118, 142, 112)),
            ("SP-56", "SP-58", "SP-45", "ST-37"),
            9.0,
            1.0,
            {"follow_border": False},
            (along(380, 5, 540, 2.9),),
        ),
        Shape(
            "Water",
            "water",
            box(f, WATER, WIDTH - f, HEIGHT - f),
            ((168, 208, 206), (98, 158, 164), (52, 112, 122), (38, 84, 98)),
            DEEP,
            10.0,
            1.1,
            {"follow_border": False},
            (
                along(408, 3, 240, 0.0),
                along(440, 5, 250, 1.3),
                along(478, 6, 260, 2.4),
                along(520, 6, 270, 3.9),
                along(556, 5, 280, 5.2),
            ),
        ),
    ]
    for k, (y, rx, ry) in enumerate(((412, 78, 8.5), (437, 60, 8.0), (461, 42, 7.5)), 1):
        out.append(
            Shape(
                f"Sun on the water {k}",
                "sun",
                ellipse(918, y, rx, ry),
                ((244, 206, 128), (238, 186, 104)),
                ("SM-38", "SM-28", "GG-37", "SM-36"),
                7.5,
                0.9,
                {"accent": "GG-37", "accent_share": 0.3},
            )
        )
    bank = within_frame(
        blob((4, 596), (8, 500), (96, 490), (190, 504), (286, 528), (356, 580), (190, 610))
    )
    out.append(
        Shape(
            "Stony bank",
            "bank",
            bank,
            ((150, 132, 112), (104, 88, 76)),
            ("ST-04", "ST-13", "ST-37", "SP-92", "SL-07", "SL-16"),
            15.0,
            1.6,
            {"opus": "palladianum", "spread": 0.3},
        )
    )
    pebbles = within_frame(
        blob(
            (1196, 596), (1192, 512), (1106, 504), (1012, 522), (942, 548), (912, 582), (1050, 612)
        )
    )
    out.append(
        Shape(
            "Pebbles",
            "bank",
            pebbles,
            ((172, 164, 148), (132, 126, 116)),
            ("ST-06", "ST-07", "ST-16", "ST-37"),
            12.0,
            1.4,
            {"pieces": "rounds", "spread": 0.3, "slenderness": 1.3, "strictness": 0.8},
        )
    )
    for k, (x, y, rx, ry) in enumerate(
        ((706, 470, 66, 19), (812, 522, 82, 24), (604, 528, 58, 18)), 1
    ):
        out.append(
            Shape(
                f"Lily pad {k}",
                "lilies",
                ellipse(x, y, rx, ry),
                ((120, 168, 104), (74, 130, 84)),
                ("SP-54", "SP-57", "SP-53", "VG-55", "SP-46"),
                8.0,
                0.9,
                across=True,
            )
        )
    x, y = 800.0, 500.0
    petals = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    r = 27 * (0.72 + 0.28 * np.abs(np.cos(3 * petals)))
    flower = points(np.stack([x + 1.25 * r * np.cos(petals), y - 4 + 0.82 * r * np.sin(petals)], 1))
    out.append(
        Shape(
            "Lily",
            "lilies",
            flower,
            ((250, 240, 238), (240, 200, 196)),
            ("SM-18", "MB-09", "SH-08", "SP-09"),
            6.5,
            0.8,
            {"accent": "SH-08", "accent_share": 0.35},
        )
    )
    out.append(
        Shape(
            "Lily's heart",
            "lilies",
            ellipse(x, y - 4, 8.5, 6.5),
            ((244, 204, 92),),
            ("SM-38", "GG-37"),
            6.0,
            0.8,
        )
    )
    out += heron()
    out += reeds()
    return out


def heron() -> list[Shape]:
    legs = ("SP-34", "SP-94", "SP-92")
    wing = blob(
        (452, 226),
        (486, 262),
        (476, 306),
        (432, 338),
        (374, 366),
        (304, 398),
        (336, 356),
        (372, 312),
        (408, 256),
    )
    split: Points = [(470, 262), (452, 300), (412, 334), (352, 366), (304, 398)]
    flight = [
        *points(smooth_curve(split, 3.0)),
        *points(
            smooth_curve(
                [(304, 398), (336, 356), (366, 320), (400, 300), (430, 280), (470, 262)], 3.0
            )
        )[1:-1],
    ]
    return [
        Shape(
            "Far leg",
            "heron",
            ribbon([(436, 336), (420, 402), (430, 486)], 13, 10, 8, 10, 9),
            ((120, 98, 66),),
            legs,
            7.5,
            0.9,
            {"follow_border": True},
        ),
        Shape(
            "Near leg",
            "heron",
            ribbon([(462, 336), (462, 404), (458, 478)], 13, 10, 8, 10, 9),
            ((142, 116, 74),),
            legs,
            7.5,
            0.9,
            {"follow_border": True},
        ),
        Shape(
            "Body",
            "heron",
            blob(
                (474, 214),
                (516, 246),
                (520, 292),
                (488, 334),
                (430, 352),
                (368, 376),
                (308, 398),
                (340, 360),
                (384, 300),
                (426, 238),
            ),
            ((206, 212, 214), (168, 180, 188), (128, 144, 158)),
            ("SP-06", "SP-08", "SP-76", "SL-07", "SP-04"),
            8.0,
            0.9,
            {},
            ([(500, 244), (496, 300), (440, 340), (330, 392)],),
        ),
        Shape(
            "Neck",
            "heron",
            ribbon(
                [(486, 262), (526, 214), (528, 164), (500, 124), (494, 90), (522, 60)],
                58,
                50,
                40,
                33,
                29,
                27,
                25,
                24,
            ),
            ((240, 238, 230), (226, 226, 222), (206, 210, 212)),
            ("MB-09", "SH-08", "SP-09", "SP-08", "MB-07"),
            7.5,
            0.9,
            {"accent": "SH-08", "accent_share": 0.14},
            ([(486, 262), (526, 214), (528, 164), (500, 124), (494, 90), (522, 60)],),
        ),
        Shape(
            "Wing coverts",
            "heron",
            wing,
            ((150, 172, 190), (104, 132, 158)),
            ("SP-75", "SP-76", "SP-06", "VG-77"),
            7.5,
            0.9,
            {"accent": "SH-66", "accent_share": 0.06},
            ([(462, 240), (452, 282), (404, 314), (322, 384)],),
        ),
        Shape(
            "Flight feathers",
            "heron",
            flight,
            ((66, 84, 116), (44, 56, 86)),
            ("SP-72", "SP-02", "SP-04", "SH-03", "VG-74"),
            7.5,
            0.9,
            {},
            ([(462, 268), (430, 306), (372, 346), (306, 397)],),
        ),
        Shape(
            "Head",
            "heron",
            blob(
                (504, 72),
                (508, 46),
                (530, 33),
                (556, 36),
                (578, 48),
                (580, 60),
                (560, 72),
                (532, 80),
            ),
            ((244, 242, 236),),
            ("MB-09", "SP-09", "SH-08"),
            6.5,
            0.8,
            {},
            ([(508, 62), (534, 50), (578, 54)],),
        ),
        Shape(
            "Beak",
            "heron",
            points(smooth_curve([(573, 45), (620, 53), (664, 65)], 4))
            + points(smooth_curve([(664, 65), (620, 66), (573, 65)], 4))[1:],
            ((236, 176, 74), (222, 148, 58)),
            ("SM-26", "SP-36", "SM-38", "SM-25"),
            7.5,
            0.8,
            {},
            ([(570, 55), (664, 65)],),
        ),
        Shape(
            "Crest",
            "heron",
            ribbon([(556, 41), (528, 41), (498, 52), (462, 74), (428, 104)], 8, 12, 12, 10, 6, 0.1),
            ((40, 46, 66),),
            ("SM-01", "SP-72", "SH-03"),
            6.5,
            0.8,
            {},
            ([(556, 41), (528, 41), (498, 52), (462, 74), (428, 104)],),
        ),
        Shape(
            "Eye", "heron", ellipse(553, 52, 4.6, 4.6, 24), ((240, 200, 70),), ("GG-37",), 7.0, 0.7
        ),
    ]


def reeds() -> list[Shape]:
    out = []
    leaves = (
        ((74, 560), (86, 330), (150, 106), 25, 0),
        ((132, 566), (150, 360), (262, 186), 24, 1),
        ((42, 548), (44, 360), (62, 190), 21, 2),
        ((184, 572), (182, 420), (150, 260), 22, 3),
        ((214, 566), (244, 440), (338, 330), 19, 0),
        ((104, 576), (112, 450), (196, 352), 18, 2),
        ((1128, 566), (1106, 330), (1028, 128), 25, 1),
        ((1100, 570), (1120, 380), (1152, 196), 23, 0),
        ((1052, 566), (1040, 430), (968, 322), 20, 3),
        ((1152, 560), (1144, 430), (1086, 300), 19, 2),
    )
    washes = (
        ((168, 190, 96), (84, 128, 62)),
        ((122, 164, 84), (58, 104, 62)),
        ((190, 204, 122), (112, 146, 70)),
        ((146, 150, 70), (92, 104, 52)),
    )
    for k, (base, bend, tip, width, wash) in enumerate(leaves, 1):
        outline, spine = blade(base, bend, tip, width)
        out.append(Shape(f"Reed {k}", "reeds", outline, washes[wash], REED, 7.5, 0.9, {}, (spine,)))
    rushes = (
        ((158, 566), (142, 400), (112, 236)),
        ((240, 560), (226, 430), (232, 300)),
        ((1074, 566), (1076, 420), (1092, 262)),
    )
    for k, (base, bend, top) in enumerate(rushes, 1):
        out.append(
            Shape(
                f"Rush stem {k}",
                "reeds",
                ribbon([base, bend, top], 10, 9, 9, 8.5),
                ((120, 132, 66),),
                ("SP-45", "SP-43", "SP-46"),
                7.5,
                0.9,
            )
        )
        d = np.array(top, float) - np.array(bend, float)
        d /= np.hypot(*d)
        a, b = np.array(top) + 50 * -d, np.array(top) + 38 * d
        out.append(
            Shape(
                f"Rush {k}",
                "rushes",
                ribbon([tuple(a), tuple((a + b) / 2), tuple(b)], 8, 21, 24, 24, 24, 21, 8),
                ((150, 96, 58), (112, 66, 42)),
                ("SP-94", "SP-92", "SM-25", "SP-34"),
                7.0,
                0.8,
                {"accent": "GG-26", "accent_share": 0.06},
                ([tuple(a), tuple((a + b) / 2), tuple(b)],),
            )
        )
    return out
