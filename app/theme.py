"""How the program looks: limewash and slate by day, slate and limewash by night, one accent of
verdigris, type large enough to read at arm's length, targets large enough for wet hands.

The names of colours say what they are by day; `dress` gives them the values of the look that was
chosen, so they are asked for as `theme.INK` when something is painted, never kept.
"""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QPalette
from PySide6.QtWidgets import QApplication, QWidget

from core.resources import asset

DAY = {
    "LIME": "#f4f1ea",  # ground
    "CHALK": "#fbfaf6",  # cards
    "PAPER": "#ffffff",  # what is typed into, and lists
    "SAND": "#e6e0d4",  # lines, pressed
    "STONE": "#b9b1a3",  # edges, what is switched off
    "FAINT": "#8d877b",  # words that are switched off
    "SLATE": "#5b5a57",
    "INK": "#2b2c2e",
    "VERDIGRIS": "#1f7a72",
    "VERDIGRIS_PALE": "#d5e8e4",
    "ON_VERDIGRIS": "#ffffff",
    "RUST": "#a8442a",
    "BENCH": "#d8d2c6",
}
NIGHT = {
    "LIME": "#232426",
    "CHALK": "#2c2d30",
    "PAPER": "#1b1c1e",
    "SAND": "#3f4044",
    "STONE": "#66676b",
    "FAINT": "#85868a",
    "SLATE": "#b9b6ae",
    "INK": "#efece4",
    "VERDIGRIS": "#5cb8ae",
    "VERDIGRIS_PALE": "#23504b",
    "ON_VERDIGRIS": "#10201e",
    "RUST": "#f0906f",
    "BENCH": "#37383b",
}
# The work itself, and what is painted over it, look the same by night: DAY["INK"] is for them.
LIME, CHALK, PAPER, SAND, STONE = (DAY[k] for k in ("LIME", "CHALK", "PAPER", "SAND", "STONE"))
FAINT, SLATE, INK, RUST, BENCH = (DAY[k] for k in ("FAINT", "SLATE", "INK", "RUST", "BENCH"))
VERDIGRIS, VERDIGRIS_PALE = DAY["VERDIGRIS"], DAY["VERDIGRIS_PALE"]
ON_VERDIGRIS = DAY["ON_VERDIGRIS"]

LETTERS = {"usual": 1.0, "larger": 1.15, "largest": 1.3}
_scale = 1.0
_worn: tuple[bool, str] | None = None  # the look that was put on last
_FIXED = "designed"  # the property that keeps the size a widget has with letters as usual


def px(usual: float) -> int:
    """Return a length in pixels at the size of letters that was chosen."""
    return round(usual * _scale)


def fix(widget: QWidget, wide: int = 0, high: int = 0) -> None:
    """Fix a widget's width or height, or both; it grows with the letters."""
    widget.setProperty(_FIXED, [wide, high])
    if wide:
        widget.setFixedWidth(px(wide))
    if high:
        widget.setFixedHeight(px(high))


def _check() -> str:
    """Return the picture of a tick that is seen on the accent."""
    when = "day" if DAY["ON_VERDIGRIS"] == ON_VERDIGRIS else "night"
    return asset(f"icons/check-{when}.svg").as_posix()


def style() -> str:
    """Return the stylesheet in the colours and the size of letters that were chosen."""
    return f"""
* {{ color: {INK}; font-size: {px(13)}px; }}
QMainWindow, QDialog {{ background: {LIME}; }}
QToolTip {{ background: {INK}; color: {CHALK}; border: none; padding: 5px 8px; }}
QLabel[role="title"] {{ font-size: {px(18)}px; font-weight: 600; }}
QLabel[role="head"] {{ font-size: {px(13)}px; font-weight: 600; color: {SLATE}; }}
QLabel[role="hint"] {{ color: {SLATE}; }}
QFrame[role="unfold"] {{ border: 2px solid transparent; border-radius: 4px; }}
QFrame[role="unfold"]:hover {{ background: {SAND}; }}
QFrame[role="unfold"]:focus {{ border-color: {VERDIGRIS}; }}
QToolButton[role="fold"] {{ font-weight: 600; border: 1px solid transparent; padding: 4px 2px; }}
QToolButton[role="fold"]:checked {{ background: none; border-color: transparent; }}
QLabel[role="part"] {{ color: {SLATE}; font-size: {px(12)}px; }}
QLabel[role="figure"] {{ font-size: {px(20)}px; font-weight: 600; }}
QLabel[role="warn"] {{ color: {RUST}; font-weight: 600; }}
QFrame[role="card"] {{ background: {CHALK}; border: 1px solid {SAND}; border-radius: 8px; }}
QFrame[role="bar"] {{ background: {CHALK}; border: none; }}
QFrame[role="line"] {{ background: {SAND}; max-height: 1px; min-height: 1px; border: none; }}
QScrollArea, QScrollArea > QWidget > QWidget {{ background: transparent; border: none; }}
QScrollArea[role="bench"] {{ background: {BENCH}; }}
QPushButton {{
  background: {CHALK}; border: 1px solid {STONE}; border-radius: 6px;
  padding: 6px 12px; min-height: 24px;
}}
QPushButton:hover {{ border-color: {VERDIGRIS}; }}
QPushButton:pressed {{ background: {SAND}; }}
QPushButton:checked {{ background: {VERDIGRIS_PALE}; border-color: {VERDIGRIS}; }}
QPushButton:disabled {{ color: {FAINT}; border-color: {SAND}; }}
QPushButton[role="main"] {{
  background: {VERDIGRIS}; border-color: {VERDIGRIS}; color: {ON_VERDIGRIS}; font-weight: 600;
}}
QPushButton[role="main"]:disabled {{ background: {STONE}; border-color: {STONE}; color: {LIME}; }}
QToolButton {{ border: 1px solid transparent; border-radius: 8px; padding: 4px; background: none; }}
QToolButton:hover {{ background: {SAND}; }}
QToolButton:checked {{ background: {VERDIGRIS_PALE}; border-color: {VERDIGRIS}; }}
QToolButton[role="leaf"] {{
  font-size: {px(12)}px; padding: 5px 2px; border-radius: 6px; min-height: 26px;
}}
QToolButton[role="leaf"]:checked {{ font-weight: 600; }}
QToolButton[role="way"] {{
  border: 1px solid {STONE}; padding: 12px 6px; background: {PAPER};
}}
QToolButton[role="way"]:hover {{ border-color: {VERDIGRIS}; background: {VERDIGRIS_PALE}; }}
QToolButton[role="way"]:focus {{ border: 2px solid {VERDIGRIS}; padding: 11px 5px; }}
QPushButton[role="recent"] {{ text-align: left; }}
QToolButton[role="small"] {{
  border: 1px solid {STONE}; border-radius: 6px; padding: 2px 10px; min-height: 26px;
}}
QToolButton[role="small"]:focus {{ border: 2px solid {VERDIGRIS}; padding: 1px 9px; }}
QLabel[role="slip"] {{
  background: {CHALK}; border: 1px solid {STONE}; padding: 10px 12px;
}}
QLineEdit, QSpinBox, QDoubleSpinBox, QComboBox, QPlainTextEdit {{
  background: {PAPER}; border: 1px solid {STONE}; border-radius: 5px; padding: 4px 7px;
  min-height: 24px; selection-background-color: {VERDIGRIS}; selection-color: {ON_VERDIGRIS};
}}
QLineEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus, QComboBox:focus, QPlainTextEdit:focus {{
  border: 2px solid {VERDIGRIS}; padding: 3px 6px;
}}
QPushButton:focus {{ border: 2px solid {VERDIGRIS}; padding: 5px 11px; }}
QPushButton[role="main"]:focus {{ border: 2px solid {INK}; }}
QToolButton:focus {{ border: 2px solid {VERDIGRIS}; padding: 3px; }}
QToolButton[role="leaf"]:focus {{ padding: 4px 1px; }}
QLineEdit:disabled, QSpinBox:disabled, QDoubleSpinBox:disabled, QComboBox:disabled,
QPlainTextEdit:disabled {{ color: {FAINT}; background: {CHALK}; border-color: {SAND}; }}
QCheckBox:disabled, QToolButton:disabled {{ color: {FAINT}; }}
QComboBox::drop-down {{ width: 24px; border: none; }}
QComboBox QAbstractItemView {{
  background: {PAPER}; border: 1px solid {STONE}; selection-background-color: {VERDIGRIS_PALE};
  selection-color: {INK}; outline: none;
}}
QCheckBox {{ spacing: 8px; min-height: 28px; border: 2px solid transparent; border-radius: 5px; }}
QCheckBox:focus, QSlider:focus {{ border: 2px solid {VERDIGRIS}; border-radius: 5px; }}
QSlider {{ border: 2px solid transparent; }}
QCheckBox::indicator {{
  width: 16px; height: 16px; border: 1px solid {SLATE}; border-radius: 4px; background: {PAPER};
}}
QCheckBox::indicator:checked {{
  background: {VERDIGRIS}; border-color: {VERDIGRIS}; image: url("{_check()}");
}}
QCheckBox::indicator:disabled {{ border-color: {STONE}; background: {CHALK}; }}
QCheckBox::indicator:checked:disabled {{ background: {STONE}; }}
QTableWidget, QListWidget, QTreeWidget, QTextBrowser {{
  background: {PAPER}; border: 1px solid {SAND}; border-radius: 6px; gridline-color: {SAND};
  selection-background-color: {VERDIGRIS_PALE}; selection-color: {INK}; outline: none;
}}
QTableWidget:focus, QListWidget:focus, QTreeWidget:focus, QTextBrowser:focus {{
  border: 2px solid {VERDIGRIS};
}}
QTableWidget::item {{ padding: 0 7px; }}
QHeaderView::section {{
  background: {LIME}; border: none; border-bottom: 1px solid {STONE}; padding: 5px 7px;
  font-weight: 600; color: {SLATE};
}}
QListWidget::item {{ min-height: 32px; padding: 2px 4px; }}
QSlider::groove:horizontal {{ height: 4px; background: {STONE}; border-radius: 2px; }}
QSlider::handle:horizontal {{
  background: {VERDIGRIS}; width: 20px; height: 20px; margin: -8px 0; border-radius: 10px;
}}
QSlider::handle:horizontal:disabled {{ background: {STONE}; }}
QProgressBar {{
  border: 1px solid {STONE}; border-radius: 5px; background: {PAPER}; text-align: center;
  min-height: 18px; max-height: 18px;
}}
QProgressBar::chunk {{ background: {VERDIGRIS_PALE}; border-radius: 4px; }}
QMenu {{ background: {PAPER}; border: 1px solid {STONE}; padding: 5px; }}
QMenu::item {{ padding: 9px 22px; border-radius: 5px; }}
QMenu::item:disabled {{ color: {SLATE}; font-weight: 600; }}
QMenu::item:selected {{ background: {VERDIGRIS_PALE}; }}
QMenu::separator {{ height: 1px; background: {SAND}; margin: 4px 8px; }}
QMenu[role="bar"]::item {{ padding: 6px 26px 6px 22px; }}
QMenu[role="bar"]::item:disabled {{ color: {FAINT}; font-weight: 400; }}
QMenuBar {{ background: {CHALK}; border-bottom: 1px solid {SAND}; padding: 1px 6px; }}
QMenuBar::item {{ padding: 5px 10px; border-radius: 5px; background: transparent; }}
QMenuBar::item:selected {{ background: {VERDIGRIS_PALE}; }}
QCalendarWidget QWidget#qt_calendar_navigationbar {{ background: {LIME}; }}
QCalendarWidget QToolButton {{ min-height: 30px; min-width: 36px; font-size: {px(14)}px; }}
QCalendarWidget QAbstractItemView {{
  selection-background-color: {VERDIGRIS}; selection-color: {ON_VERDIGRIS}; outline: none;
  font-size: {px(14)}px;
}}
QScrollBar:vertical {{ width: 12px; background: transparent; }}
QScrollBar:horizontal {{ height: 12px; background: transparent; }}
QScrollBar::handle {{ background: {STONE}; border-radius: 5px; min-height: 30px; min-width: 30px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: none; }}
"""


def is_dark(look: str) -> bool:
    """Return whether a look is the dark one; the system's own is asked for."""
    if look == "system":
        hints = QApplication.styleHints()
        return hints.colorScheme() == Qt.ColorScheme.Dark
    return look == "dark"


def dress(app: QApplication, look: str = "light", letters: str = "usual") -> None:
    """Give the application its look: "system", "light" or "dark", and its size of letters."""
    global _scale, _worn
    worn = (is_dark(look), letters)
    if app.styleSheet():
        if worn == _worn:
            return  # a thousand widgets take a second to dress
    else:
        app.setStyle("Fusion")
    _worn = worn
    globals().update(NIGHT if is_dark(look) else DAY)
    _scale = LETTERS[letters]
    roles = QPalette.ColorRole
    palette = QPalette()
    for role, colour in (
        (roles.Window, LIME),
        (roles.Base, PAPER),
        (roles.AlternateBase, CHALK),
        (roles.Button, CHALK),
        (roles.Text, INK),
        (roles.WindowText, INK),
        (roles.ButtonText, INK),
        (roles.BrightText, ON_VERDIGRIS),
        (roles.Highlight, VERDIGRIS),
        (roles.HighlightedText, ON_VERDIGRIS),
        (roles.PlaceholderText, FAINT),
        (roles.Link, VERDIGRIS),
        (roles.ToolTipBase, INK),
        (roles.ToolTipText, CHALK),
        (roles.Mid, STONE),
        (roles.Light, CHALK),
        (roles.Dark, STONE),
    ):
        palette.setColor(role, QColor(colour))
    for role in (roles.Text, roles.WindowText, roles.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, role, QColor(FAINT))
    app.setPalette(palette)
    font = QFont(app.font())
    font.setPixelSize(px(13))
    app.setFont(font)
    app.setStyleSheet(style())
    for widget in app.allWidgets():
        size = widget.property(_FIXED)
        if size:
            fix(widget, *size)
