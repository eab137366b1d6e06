"""How the program looks: limewash and slate, one accent of verdigris, type large enough to read
at arm's length, targets large enough for wet hands.
"""

from __future__ import annotations

from PySide6.QtGui import QColor, QFont, QPalette
from PySide6.QtWidgets import QApplication

LIME = "#f4f1ea"  # ground
CHALK = "#fbfaf6"  # cards
SAND = "#e6e0d4"  # lines, pressed
STONE = "#b9b1a3"
SLATE = "#5b5a57"
INK = "#2b2c2e"
VERDIGRIS = "#1f7a72"
VERDIGRIS_PALE = "#d5e8e4"
RUST = "#a8442a"
BENCH = "#d8d2c6"

STYLE = f"""
* {{ color: {INK}; font-size: 13px; }}
QMainWindow, QDialog {{ background: {LIME}; }}
QToolTip {{ background: {INK}; color: {CHALK}; border: none; padding: 5px 8px; }}
QLabel[role="title"] {{ font-size: 18px; font-weight: 600; }}
QLabel[role="head"] {{ font-size: 13px; font-weight: 600; color: {SLATE}; }}
QLabel[role="hint"] {{ color: {SLATE}; }}
QLabel[role="figure"] {{ font-size: 20px; font-weight: 600; }}
QLabel[role="warn"] {{ color: {RUST}; font-weight: 600; }}
QFrame[role="card"] {{ background: {CHALK}; border: 1px solid {SAND}; border-radius: 8px; }}
QFrame[role="bar"] {{ background: {CHALK}; border: none; }}
QFrame[role="line"] {{ background: {SAND}; max-height: 1px; min-height: 1px; border: none; }}
QScrollArea, QScrollArea > QWidget > QWidget {{ background: transparent; border: none; }}
QPushButton {{
  background: {CHALK}; border: 1px solid {STONE}; border-radius: 6px;
  padding: 6px 12px; min-height: 24px;
}}
QPushButton:hover {{ border-color: {VERDIGRIS}; }}
QPushButton:pressed {{ background: {SAND}; }}
QPushButton:checked {{ background: {VERDIGRIS_PALE}; border-color: {VERDIGRIS}; }}
QPushButton:disabled {{ color: {STONE}; border-color: {SAND}; }}
QPushButton[role="main"] {{
  background: {VERDIGRIS}; border-color: {VERDIGRIS}; color: white; font-weight: 600;
}}
QPushButton[role="main"]:disabled {{ background: {STONE}; border-color: {STONE}; color: {LIME}; }}
QToolButton {{ border: 1px solid transparent; border-radius: 8px; padding: 4px; background: none; }}
QToolButton:hover {{ background: {SAND}; }}
QToolButton:checked {{ background: {VERDIGRIS_PALE}; border-color: {VERDIGRIS}; }}
QToolButton[role="leaf"] {{
  font-size: 12px; padding: 5px 2px; border-radius: 6px; min-height: 26px;
}}
QToolButton[role="leaf"]:checked {{ font-weight: 600; }}
QLineEdit, QSpinBox, QDoubleSpinBox, QComboBox, QPlainTextEdit {{
  background: white; border: 1px solid {STONE}; border-radius: 5px; padding: 4px 7px;
  min-height: 24px; selection-background-color: {VERDIGRIS}; selection-color: white;
}}
QLineEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus, QComboBox:focus, QPlainTextEdit:focus,
QPushButton:focus, QToolButton:focus {{ border: 1px solid {VERDIGRIS}; }}
QLineEdit:disabled, QSpinBox:disabled, QDoubleSpinBox:disabled, QComboBox:disabled,
QPlainTextEdit:disabled {{ color: {STONE}; background: {CHALK}; border-color: {SAND}; }}
QCheckBox:disabled, QToolButton:disabled {{ color: {STONE}; }}
QComboBox::drop-down {{ width: 24px; border: none; }}
QComboBox QAbstractItemView {{
  background: white; border: 1px solid {STONE}; selection-background-color: {VERDIGRIS_PALE};
  selection-color: {INK}; outline: none;
}}
QCheckBox {{ spacing: 8px; min-height: 28px; }}
QCheckBox::indicator {{ width: 18px; height: 18px; }}
QTableWidget, QListWidget, QTreeWidget {{
  background: white; border: 1px solid {SAND}; border-radius: 6px; gridline-color: {SAND};
  selection-background-color: {VERDIGRIS_PALE}; selection-color: {INK}; outline: none;
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
  border: 1px solid {STONE}; border-radius: 5px; background: white; text-align: center;
  min-height: 18px; max-height: 18px;
}}
QProgressBar::chunk {{ background: {VERDIGRIS_PALE}; border-radius: 4px; }}
QMenu {{ background: white; border: 1px solid {STONE}; padding: 5px; }}
QMenu::item {{ padding: 9px 22px; border-radius: 5px; }}
QMenu::item:disabled {{ color: {SLATE}; font-weight: 600; }}
QMenu::item:selected {{ background: {VERDIGRIS_PALE}; }}
QScrollBar:vertical {{ width: 12px; background: transparent; }}
QScrollBar:horizontal {{ height: 12px; background: transparent; }}
QScrollBar::handle {{ background: {STONE}; border-radius: 5px; min-height: 30px; min-width: 30px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: none; }}
"""


def dress(app: QApplication) -> None:
    """Give the application its look."""
    app.setStyle("Fusion")
    palette = QPalette()
    for role, colour in (
        (QPalette.ColorRole.Window, LIME),
        (QPalette.ColorRole.Base, "#ffffff"),
        (QPalette.ColorRole.AlternateBase, CHALK),
        (QPalette.ColorRole.Button, CHALK),
        (QPalette.ColorRole.Text, INK),
        (QPalette.ColorRole.WindowText, INK),
        (QPalette.ColorRole.ButtonText, INK),
        (QPalette.ColorRole.Highlight, VERDIGRIS),
        (QPalette.ColorRole.HighlightedText, "#ffffff"),
        (QPalette.ColorRole.PlaceholderText, STONE),
    ):
        palette.setColor(role, QColor(colour))
    app.setPalette(palette)
    font = QFont(app.font())
    font.setPixelSize(13)
    app.setFont(font)
    app.setStyleSheet(STYLE)
