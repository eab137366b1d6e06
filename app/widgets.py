"""Small parts that the leaves are made of: large targets, plain words, values with units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

from PySide6.QtCore import QDate, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QIcon,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QPolygonF,
    QTextCharFormat,
    QWheelEvent,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QDateEdit,
    QDoubleSpinBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QMenu,
    QPlainTextEdit,
    QProgressBar,
    QPushButton,
    QSlider,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import theme
from core.colour.convert import swatch_rgb
from core.colour.wanted import stocked_lab
from core.material import Material

NO_ARROWS = """
QDoubleSpinBox::up-button, QDoubleSpinBox::down-button { width: 0px; height: 0px; border: none; }
QDoubleSpinBox::up-arrow, QDoubleSpinBox::down-arrow { width: 0px; height: 0px; }
"""


def text(words: str, role: str = "") -> QLabel:
    """Return words that wrap."""
    label = QLabel(words)
    label.setWordWrap(True)
    if role:
        label.setProperty("role", role)
    return label


def fit(font: QFont, words: str, width: int) -> None:
    """Make a font smaller until words have room on one line, as far as they can still be read."""
    while font.pixelSize() > 9 and QFontMetrics(font).horizontalAdvance(words) > width:
        font.setPixelSize(font.pixelSize() - 1)


def name_within(part: QWidget, head: str) -> None:
    """Give what a screen reader has no name for that of its group, or of what is typed there."""
    kinds = (QLineEdit, QPlainTextEdit, QAbstractItemView, QComboBox, QProgressBar)
    for w in (part, *part.findChildren(QWidget)):
        if isinstance(w, kinds) and not w.accessibleName():
            w.setAccessibleName(getattr(w, "placeholderText", str)() or head)


def line() -> QFrame:
    """Return a thin line between groups."""
    f = QFrame()
    f.setProperty("role", "line")
    return f


def row(*widgets: QWidget | str, gap: int = 8) -> QWidget:
    """Return widgets side by side; words become labels."""
    w = QWidget()
    box = QHBoxLayout(w)
    box.setContentsMargins(0, 0, 0, 0)
    box.setSpacing(gap)
    for x in widgets:
        box.addWidget(QLabel(x) if isinstance(x, str) else x)
    return w


def column(*widgets: QWidget) -> QWidget:
    """Return widgets one below the other."""
    w = QWidget()
    box = QVBoxLayout(w)
    box.setContentsMargins(0, 0, 0, 0)
    box.setSpacing(8)
    for x in widgets:
        box.addWidget(x)
    return w


def button(words: str, do: Callable[[], object], role: str = "", tip: str = "") -> QPushButton:
    """Return a button."""
    b = QPushButton(words)
    b.setMinimumHeight(38)
    b.setAutoDefault(False)  # Enter in a line of a dialog would press the first button
    if role:
        b.setProperty("role", role)
    if tip:
        b.setToolTip(tip)
    b.clicked.connect(lambda *_: do())
    return b


def headed_menu(parent: QWidget, words: str) -> QMenu:
    """Return a menu under a heading; what a section is called is not drawn in every style."""
    menu = QMenu(parent)
    menu.addAction(words).setEnabled(False)
    menu.addSeparator()
    return menu


class _Still:
    """The wheel scrolls the leaf over this, and changes nothing that it merely passes."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Leave the wheel to what lies around."""
        event.ignore()


class Spin(_Still, QDoubleSpinBox):
    """A number that is typed or stepped."""


class Slider(_Still, QSlider):
    """A slider for hand and keys."""


class Drop(_Still, QComboBox):
    """A box of choices with a mark that it opens."""

    def __init__(self) -> None:
        super().__init__()
        self.setMinimumHeight(36)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(8)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the box and its mark."""
        super().paintEvent(event)
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.setPen(QPen(QColor(theme.SLATE if self.isEnabled() else theme.STONE), 1.8))
        x, y = self.width() - 15.0, self.height() / 2
        mark = [QPointF(x - 4.5, y - 2.5), QPointF(x, y + 2.5), QPointF(x + 4.5, y - 2.5)]
        p.drawPolyline(QPolygonF(mark))
        p.end()


class Number(QWidget):
    """A named value with its unit, typed or stepped."""

    def __init__(
        self,
        name: str,
        unit: str,
        low: float,
        high: float,
        changed: Callable[[float], object],
        decimals: int = 1,
        step: float = 0.5,
        tip: str = "",
    ) -> None:
        super().__init__()
        self.spin = Spin()
        self.spin.setAccessibleName(name)
        self.spin.setRange(low, high)
        self.spin.setDecimals(decimals)
        self.spin.setSingleStep(step)
        self.spin.setSuffix(f" {unit}" if unit else "")
        self.spin.setKeyboardTracking(False)
        # the stylesheet leaves no room for the text where the arrows are only switched off
        self.spin.setStyleSheet(NO_ARROWS)
        theme.fix(self.spin, 106, 36)
        self.spin.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.spin.valueChanged.connect(changed)
        if tip:
            self.setToolTip(tip)
        label = QLabel(name)
        label.setWordWrap(True)
        self.less, self.more = _stepper("\u2212", f"{name}: less"), _stepper("+", f"{name}: more")
        self.less.clicked.connect(lambda: self.spin.stepBy(-1))
        self.more.clicked.connect(lambda: self.spin.stepBy(1))
        box = QHBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(2)
        box.addWidget(label, 1)
        box.addWidget(self.less)
        box.addWidget(self.spin)
        box.addWidget(self.more)

    @property
    def value(self) -> float:
        """The value, what is still being typed included."""
        self.spin.interpretText()
        return self.spin.value()

    def show_value(self, value: float) -> None:
        """Show a value without telling anyone."""
        self.spin.blockSignals(True)
        self.spin.setValue(value)
        self.spin.blockSignals(False)


def _stepper(sign: str, name: str) -> QToolButton:
    b = QToolButton()
    b.setText(sign)
    b.setAccessibleName(name)
    theme.fix(b, 36, 36)
    b.setAutoRepeat(True)
    b.setAutoRepeatDelay(400)
    return b


class Choice(QWidget):
    """A named choice of a few words."""

    def __init__(
        self, name: str, words: Sequence[tuple[str, str]], changed: Callable[[str], object]
    ) -> None:
        super().__init__()
        self.box = Drop()
        self.box.setAccessibleName(name)
        self.box.view().setAccessibleName(name)
        for value, shown in words:
            self.box.addItem(shown, value)
        self.box.currentIndexChanged.connect(lambda k: changed(self.box.itemData(k)))
        box = QHBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        if name:
            box.addWidget(QLabel(name))
        box.addWidget(self.box, 1)

    def show_value(self, value: str) -> None:
        """Show a value without telling anyone."""
        self.box.blockSignals(True)
        self.box.setCurrentIndex(max(0, self.box.findData(value)))
        self.box.blockSignals(False)

    @property
    def value(self) -> str:
        """What is chosen."""
        return str(self.box.currentData())


class Switch(QCheckBox):
    """On or off."""

    def __init__(self, words: str, changed: Callable[[bool], object], tip: str = "") -> None:
        super().__init__(words)
        self.setMinimumHeight(36)
        if tip:
            self.setToolTip(tip)
        self.toggled.connect(changed)

    def show_value(self, on: bool) -> None:
        """Show a value without telling anyone."""
        self.blockSignals(True)
        self.setChecked(on)
        self.blockSignals(False)


class Slide(QWidget):
    """A named value on a slider, told when let go."""

    def __init__(
        self,
        name: str,
        low: int,
        high: int,
        changed: Callable[[int], object],
        shown: Callable[[int], str],
    ) -> None:
        super().__init__()
        self.slider = Slider(Qt.Orientation.Horizontal)
        self.slider.setAccessibleName(name)
        self.slider.setRange(low, high)
        self.slider.setMinimumHeight(36)
        self._shown = shown
        self._value = QLabel()
        self._value.setAlignment(Qt.AlignmentFlag.AlignRight)
        top = row(QLabel(name), self._value)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(2)
        box.addWidget(top)
        box.addWidget(self.slider)
        self.slider.valueChanged.connect(lambda v: self._value.setText(shown(v)))
        self.slider.valueChanged.connect(changed)
        self._value.setText(shown(self.slider.value()))

    def show_value(self, value: int) -> None:
        """Show a value without telling anyone."""
        self.slider.blockSignals(True)
        self.slider.setValue(value)
        self.slider.blockSignals(False)
        self._value.setText(self._shown(value))


def day_edit(day: str) -> QDateEdit:
    """Return a day (YYYY-MM-DD) to be typed or taken from a calendar; today where it is none."""
    given = QDate.fromString(day, "yyyy-MM-dd")
    edit = QDateEdit(given if given.isValid() else QDate.currentDate())
    edit.setDisplayFormat("yyyy-MM-dd")
    edit.setCalendarPopup(True)
    edit.setFixedSize(182, 36)
    calendar = edit.calendarWidget()
    calendar.setMinimumSize(380, 320)
    plain = QTextCharFormat()
    for weekend in (Qt.DayOfWeek.Saturday, Qt.DayOfWeek.Sunday):
        calendar.setWeekdayTextFormat(weekend, plain)
    return edit


@lru_cache(maxsize=4096)
def material_rgb(m: Material) -> tuple[tuple[int, int, int], bool]:
    """Return a material's colour for a screen, and whether a screen can show it."""
    return swatch_rgb(stocked_lab([m])[0])


def paint_swatch(p: QPainter, m: Material, x: float, y: float, w: float, h: float) -> None:
    """Paint a material's swatch: a folded corner marks what a screen cannot show, a glint what
    one colour cannot describe.
    """
    rgb, shown = material_rgb(m)
    p.save()
    p.setRenderHint(QPainter.RenderHint.Antialiasing)
    edge = QColor(theme.SLATE)
    edge.setAlpha(110)  # seen beside black by night too
    p.setPen(edge)
    p.setBrush(QColor(*rgb))
    p.drawRoundedRect(int(x), int(y), int(w), int(h), 4, 4)
    p.setPen(Qt.PenStyle.NoPen)
    if m.finish in ("metallic", "iridescent", "transparent"):
        p.setBrush(QColor(255, 255, 255, 120))
        a, b = x + 0.25 * w, x + 0.5 * w
        p.drawPolygon(
            QPolygonF(
                [
                    QPointF(a, y + h - 1),
                    QPointF(b, y + 1),
                    QPointF(b + 0.12 * w, y + 1),
                    QPointF(a + 0.12 * w, y + h - 1),
                ]
            )
        )
    if not shown:
        s = min(w, h) * 0.35
        p.setBrush(QColor(255, 255, 255))
        p.drawPolygon(QPolygonF([QPointF(x + w - s, y), QPointF(x + w, y), QPointF(x + w, y + s)]))
    p.restore()


def swatch_icon(m: Material, w: int = 34, h: int = 24) -> QIcon:
    """Return a material's swatch as an icon."""
    picture = QPixmap(QSize(w, h))
    picture.fill(Qt.GlobalColor.transparent)
    p = QPainter(picture)
    paint_swatch(p, m, 1, 1, w - 2, h - 2)
    p.end()
    icon = QIcon(picture)
    icon.addPixmap(picture, QIcon.Mode.Selected)  # else a chosen row would tint the colour
    return icon


MARKS = {
    "metallic": "metallic: one colour cannot describe it",
    "iridescent": "iridescent: one colour cannot describe it",
    "transparent": "transparent: it takes colour from its bed",
}


def describe(m: Material) -> str:
    """Return a material in words, with what its swatch cannot show."""
    words = f"{m.code}  {m.said}\nL* {m.lab[0]:.1f}  a* {m.lab[1]:.1f}  b* {m.lab[2]:.1f}"
    words += f"\n{m.pieces:,} pieces in hand, {m.length_mm:g} x {m.width_mm:g} mm"
    if m.finish in MARKS:
        words += f"\n{MARKS[m.finish]}"
    if m.by_choice:
        words += "\nlaid only where you choose it, never by colour alone"
    if not material_rgb(m)[1]:
        words += "\nscreens cannot show this colour truly"
    return words


def label(p: QPainter, at: QPointF, words: str) -> None:
    """Paint a few words on a small plate."""
    wide = p.fontMetrics().horizontalAdvance(words) + 14
    box = QRectF(at.x() + 10, at.y() - 30, wide, 22)
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(QColor(43, 44, 46, 225))
    p.drawRoundedRect(box, 5, 5)
    p.setPen(QColor("white"))
    p.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
