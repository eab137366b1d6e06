"""What the Colour leaf says: what the stock costs in colour, what is bare, what the eye blends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from jobcard_rig import Rig, rig
from PySide6.QtGui import QTextDocument
from PySide6.QtWidgets import QLabel
from skimage.color import deltaE_ciede2000

from app.jobcard.colour import ColourLeaf
from app.widgets import headed_menu
from core.archive import Work


@pytest.fixture
def table() -> Iterator[Rig]:
    with rig() as r:
        r.card.turn_to("Colour")
        yield r


@pytest.fixture
def leaf(table: Rig) -> ColourLeaf:
    leaf = table.card.leaf
    assert isinstance(leaf, ColourLeaf)
    return leaf


def differences(table: Rig) -> np.ndarray:
    """Every piece's difference, by skimage; NaN where nothing is laid."""
    doc, layout = table.session.laid_doc, table.session.layout
    lab = np.array([m.lab for m in doc.materials])
    found = []
    for f in layout.fields:
        off = deltaE_ciede2000(f.wanted_lab, lab[f.stock.clip(0)])
        found.append(np.where(f.stock >= 0, off, np.nan))
    return np.concatenate(found)


def scarce(table: Rig, pieces: int) -> None:
    """Let there be so many pieces of each material."""
    doc = table.session.doc
    few = tuple(replace(m, pieces=pieces, waste=0.0) for m in doc.materials)
    table.session.apply("few", replace(doc, materials=few))
    table.lay()


def test_what_the_stock_costs_in_colour_is_said_of_the_same_pieces(
    table: Rig, leaf: ColourLeaf
) -> None:
    scarce(table, 3)
    before = differences(table)
    leaf.stock.setChecked(True)
    table.lay()
    after = differences(table)
    assert np.isfinite(after).all() and after.mean() > before.mean() + 0.05
    said = f"Mean difference {after.mean():.1f}, before {before.mean():.1f}; worst "
    assert leaf.near.mean.text().startswith(said)
    assert not leaf.near.bare.isVisible()
    # of each field alone too, chosen afterwards
    n = len(table.session.layout.by_id("f1").pieces)
    table.session.select(("f1",))
    said = f"Mean difference {after[:n].mean():.1f}, before {before[:n].mean():.1f}; worst "
    assert leaf.near.mean.text().startswith(said)


def test_pieces_that_nothing_is_left_for_are_told(table: Rig, leaf: ColourLeaf) -> None:
    scarce(table, 1)
    codes = tuple(m.code for m in table.session.doc.materials)[:5]
    table.change(palette=codes)
    before = differences(table)
    leaf.stock.setChecked(True)
    table.lay()
    after = differences(table)
    bare = int(np.isnan(after).sum())
    assert bare == len(after) - 5
    assert leaf.near.bare.isVisible() and leaf.near.bare.text().startswith(f"{bare:,} pieces have")
    # the rest are compared with themselves: fewer pieces are not nearer ones
    had, has = before[np.isfinite(after)].mean(), after[np.isfinite(after)].mean()
    was = f", before {had:.1f}" if abs(had - has) >= 0.05 else ""
    assert leaf.near.mean.text().startswith(f"Mean difference {has:.1f}{was}; worst")
    leaf.shorts.refresh()
    assert f"{bare:,} pieces" in leaf.shorts.words.text()


def test_another_commission_is_not_compared_with_the_one_before(
    table: Rig, leaf: ColourLeaf
) -> None:
    doc, images = table.session.doc, table.session.images
    far = tuple(replace(m, lab=(m.lab[0] / 2, *m.lab[1:])) for m in doc.materials)
    table.session.begin(Work(replace(doc, materials=far), images))
    table.lay()
    assert "before" not in leaf.near.mean.text()


def test_a_mixture_says_how_near_it_comes_once_blended(table: Rig, leaf: ColourLeaf) -> None:
    from core.colour.fieldmatch import blended_difference

    assert not leaf.near.blends.isVisible()
    table.session.select(("f1",))
    leaf.rule.choice.box.setCurrentIndex(1)
    table.lay()
    leaf.draw()
    found = blended_difference(table.session.laid_doc, table.session.layout.by_id("f1"))
    assert found is not None and found[1] < found[0]
    assert leaf.near.blends.isVisible()
    assert f"{found[1]:.1f} off in the mean; {found[0]:.1f} with" in leaf.near.blends.text()


def test_a_menus_heading_is_drawn(table: Rig) -> None:
    """Some styles draw a section as a line only; this is an entry that does nothing."""

    def ink(words: str) -> int:
        menu = headed_menu(table.bench, words)
        assert not menu.actions()[0].isEnabled()
        image = menu.grab().toImage()
        return len({image.pixel(x, 12) for x in range(4, image.width() - 4)})

    assert ink("Lay one for another") > ink(" ") + 3


def test_odd_codes_are_shown_as_they_are_written(table: Rig, leaf: ColourLeaf) -> None:
    """As stand-ins, whose words are set in bold; on trays, cut where they are too long."""
    doc = table.session.doc
    odd = {m.code: f"<i>&amp;{k}</i>" for k, m in enumerate(doc.materials)}
    some = tuple(replace(m, code=odd[m.code], pieces=1) for m in doc.materials)
    table.session.apply("odd", replace(doc, materials=some))
    table.lay()
    leaf.shorts.refresh()
    offers = leaf.shorts.offers()
    page = QTextDocument()
    shown = [w.text() for w in leaf.shorts.findChildren(QLabel) if "difference" in w.text()]
    assert len(shown) == len(offers) > 0
    for offer, words in zip(offers, shown, strict=True):
        page.setHtml(words)
        assert page.toPlainText().startswith(f"{offer.material.code} {offer.material.description}")
        assert "more a\u00a0m²" in words or "less a\u00a0m²" in words or "not comparable" in words
