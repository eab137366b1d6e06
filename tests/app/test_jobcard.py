"""The job card, worked by its own buttons and boxes on a real commission."""

from dataclasses import replace

import numpy as np
import pytest
from jobcard_rig import press, pump, rig
from PIL import Image
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton

from app.jobcard.lookagain import LIMITS
from app.jobcard.photograph import Photograph
from app.jobcard.stockroom import Stockroom
from core.colour.chart import chart_colours
from core.colour.convert import bytes_from_lab
from core.colour.difference import ciede2000
from core.commission import add_flow_line, change_field
from core.figures import counts
from core.stock import StockStore, use_stock


@pytest.fixture(scope="module")
def shared():
    with rig() as r:
        yield r


@pytest.fixture
def table(shared):
    """The rig with its commission as at first."""
    r = shared
    start = r.session.doc
    r.session.select(())
    r.said.clear()
    yield r
    r.session.apply("as at first", start)
    r.lay()


def mean_lab(r, field_id):
    laid = r.session.layout.by_id(field_id)
    return np.mean([r.session.laid_doc.materials[k].lab for k in laid.stock], axis=0)


def test_every_leaf_turns_and_is_no_wider_than_the_card(table):
    for name, leaf in table.card.leaves.items():
        QTest.mouseClick(table.card.buttons[name], Qt.MouseButton.LeftButton)
        pump(lambda: False, 0.02)
        assert table.card.leaf is leaf
        assert leaf.minimumSizeHint().width() <= 340, name
        for b in leaf.findChildren(QPushButton):
            assert b.minimumHeight() >= 36, (name, b.text())


def test_brief_sizes_name_and_undo(table):
    table.card.turn_to("Brief")
    leaf = table.card.leaf
    leaf.title.setText("Wash-stand")
    leaf.title.editingFinished.emit()
    assert table.session.doc.title == "Wash-stand"
    assert table.session.undo_label == "Name the commission"
    leaf.width_mm.spin.setValue(240.0)
    assert table.session.doc.width_mm == 240.0
    assert table.session.doc.height_mm == pytest.approx(160.0)
    table.session.undo()
    assert table.session.doc.width_mm == 120.0
    assert leaf.width_mm.spin.value() == 120.0


def test_a_stepper_makes_one_step(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    leaf = table.card.leaf
    joint, _ = leaf.numbers["joint_mm"]
    before = table.session.doc.field_by_id("f1").laying.joint_mm
    QTest.mouseClick(joint.more, Qt.MouseButton.LeftButton)
    assert table.session.doc.field_by_id("f1").laying.joint_mm == pytest.approx(before + 0.1)
    assert table.session.doc.field_by_id("f2").laying.joint_mm == before


def test_a_refused_number_is_said_and_the_old_one_stands(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    leaf = table.card.leaf
    leaf.numbers["joint_mm"][0].spin.setValue(30.0)
    assert table.session.doc.field_by_id("f1").laying.joint_mm == 1.5
    assert any("joint" in s for s in table.said)
    assert leaf.numbers["joint_mm"][0].spin.value() == 1.5


def test_a_motif_that_nothing_has_is_not_hugged(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    leaf = table.card.leaf
    QTest.mouseClick(leaf.buttons["vermiculatum"], Qt.MouseButton.LeftButton)
    leaf.hug.setText("no such bird")
    leaf.hug.editingFinished.emit()
    assert table.session.doc.field_by_id("f1").laying.hug == ()
    assert leaf.hug.text() == ""
    assert any("'no such bird'" in s for s in table.said)


def test_how_a_band_turns_its_corners_is_chosen_where_it_counts(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    leaf = table.card.leaf
    QTest.mouseClick(leaf.buttons["tessellatum"], Qt.MouseButton.LeftButton)
    assert not leaf.corners.isHidden() and leaf.corners.value == "mitre"
    leaf.corners.box.setCurrentIndex(leaf.corners.box.findData("butt"))
    assert table.session.doc.field_by_id("f1").laying.corners == "butt"
    table.session.undo()
    assert leaf.corners.value == "mitre"
    QTest.mouseClick(leaf.buttons["palladianum"], Qt.MouseButton.LeftButton)
    assert leaf.corners.isHidden()


def test_laying_buttons_have_pictures_and_lay(table):
    table.card.turn_to("Laying")
    table.session.select(("f1", "f2"))
    leaf = table.card.leaf
    pictures = {n: b.icon().pixmap(64, 46).toImage() for n, b in leaf.buttons.items()}
    assert all(not p.isNull() for p in pictures.values())
    assert len({bytes(p.constBits()) for p in pictures.values()}) == 8
    QTest.mouseClick(leaf.buttons["regulatum"], Qt.MouseButton.LeftButton)
    assert {f.laying.opus for f in table.session.doc.fields} == {"regulatum"}


def test_fields_list_chooses_parts_and_smooths(table):
    table.card.turn_to("Fields")
    leaf = table.card.leaf
    leaf.list.item(0).setSelected(True)
    assert table.session.selection == ("f2",)
    press(leaf, "Part")
    tool = table.bench.tool
    assert tool.name == "Part"
    tool.points = [(90.0, -5.0), (90.0, 85.0)]
    tool.finish()
    assert len(table.session.doc.fields) == 3
    assert table.session.undo_label == "Part a field"


def test_flow_line_is_listed_straightened_and_removed(table):
    doc, _ = add_flow_line(table.session.doc, [(5, 5), (50, 40), (110, 70)])
    table.session.apply("line", doc)
    table.card.turn_to("Flow")
    leaf = table.card.leaf
    leaf.list.setCurrentRow(0)
    leaf.curve.click()
    assert not table.session.doc.flow_lines[0].smooth
    press(leaf, "Remove the line")
    assert table.session.doc.flow_lines == ()


def test_a_line_gives_the_way_a_size_or_both(table):
    doc, _ = add_flow_line(table.session.doc, [(5, 5), (50, 40), (110, 70)], None, 4.0)
    table.session.apply("line", doc)
    table.card.turn_to("Flow")
    leaf = table.card.leaf
    leaf.list.setCurrentRow(0)
    assert leaf.list.item(0).text().endswith("4 mm pieces") and leaf.gives.value == "size"
    for what, leads, size in (("both", True, 4.0), ("way", True, None), ("size", False, 5.0)):
        leaf.gives.box.setCurrentIndex(leaf.gives.box.findData(what))
        (line,) = table.session.doc.flow_lines
        assert (line.leads, line.tessera_mm) == (leads, size)
        assert leaf.size.isHidden() == (size is None)
    leaf.size.spin.setValue(3.5)
    assert table.session.doc.flow_lines[0].tessera_mm == 3.5
    assert table.session.undo_label == "Size along a line"


def test_a_field_is_graded_toward_a_motif_that_is_named(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    leaf = table.card.leaf
    QTest.mouseClick(leaf.buttons["tessellatum"], Qt.MouseButton.LeftButton)
    table.session.apply("motif", change_field(table.session.doc, "f2", motif="eye"))
    own, motif = table.session.doc.field_by_id("f1").motif, "eye"
    assert leaf.finest.isHidden() and leaf.toward.findData(own) < 0
    leaf.toward.setCurrentIndex(leaf.toward.findData(motif))
    leaf.toward.activated.emit(leaf.toward.currentIndex())
    laying = table.session.doc.field_by_id("f1").laying
    assert laying.finer_toward == motif and not leaf.finest.isHidden()
    assert table.session.undo_label == "Smaller toward a motif"
    leaf.finest.spin.setValue(laying.tessera_mm / 3)
    leaf.within.spin.setValue(3)
    laying = table.session.doc.field_by_id("f1").laying
    assert laying.finer_mm == pytest.approx(laying.tessera_mm / 3, abs=0.1)
    assert laying.finer_within == 3 and "cannot narrow so fast" in leaf.graded.text()
    leaf.within.spin.setValue(20)
    assert "from piece 20 on" in leaf.graded.text()
    QTest.mouseClick(leaf.buttons["palladianum"], Qt.MouseButton.LeftButton)
    assert not leaf.toward.isEnabled() and "laid in courses" in leaf.graded.text()


def test_lighter_recolours_without_laying_again(table):
    table.card.turn_to("Colour")
    table.session.select(("f1",))
    leaf = table.card.leaf
    before, pieces = mean_lab(table, "f1"), table.session.layout.by_id("f1").pieces
    for _ in range(4):
        press(leaf, "Lighter")
    table.lay()
    assert table.session.doc.field_by_id("f1").colour.shift_lab[0] == 12.0
    assert table.session.doc.field_by_id("f2").colour.shift_lab[0] == 0.0
    assert mean_lab(table, "f1")[0] > before[0] + 3
    assert table.session.layout.by_id("f1").pieces is pieces


def test_the_whole_motif_takes_a_palette(table):
    table.card.turn_to("Colour")
    table.session.select(("f1",))
    leaf = table.card.leaf
    leaf.scope.choice.box.setCurrentIndex(1)
    codes = [m.code for m in table.session.doc.materials]
    leaf.allowed.allow((codes[0], codes[8]))
    table.lay()
    assert dict(table.session.doc.motif_palettes)["sea"] == (codes[0], codes[8])
    assert table.laid_codes("f1") | table.laid_codes("f2") <= {codes[0], codes[8]}
    leaf.scope.choice.box.setCurrentIndex(0)


def test_a_tap_on_a_swatch_bars_it(table):
    table.card.turn_to("Colour")
    table.session.select(("f1",))
    leaf = table.card.leaf
    pump(lambda: False, 0.05)
    code = leaf.allowed.grid.materials[0].code
    assert code in table.laid_codes("f1")
    at = leaf.allowed.grid.cell(0).center().toPoint()
    QTest.mouseClick(leaf.allowed.grid, Qt.MouseButton.LeftButton, pos=at)
    table.lay()
    assert code not in table.session.doc.field_by_id("f1").colour.palette
    assert code not in table.laid_codes("f1")


def test_fewer_colours_and_back(table):
    table.card.turn_to("Colour")
    table.session.select(("f1", "f2"))
    leaf = table.card.leaf
    n = len(table.laid_codes("f1"))
    assert n > 2
    press(leaf, "Fewer colours")
    table.lay()
    assert len(table.laid_codes("f1")) == n - 1
    press(leaf, "As the sketch")
    table.lay()
    assert len(table.laid_codes("f1")) == n


def test_shading_begins_with_what_is_laid_and_accent_strikes(table):
    table.card.turn_to("Colour")
    table.session.select(("f1",))
    leaf = table.card.leaf
    leaf.rule.choice.box.setCurrentIndex(2)
    table.lay()
    f = table.session.doc.field_by_id("f1")
    assert f.colour.match == "shade" and len(f.colour.blend) == 2
    assert table.laid_codes("f1") <= set(f.colour.blend)
    gold = next(m.code for m in table.session.doc.materials if m.kind == "gold glass")
    leaf.accent.material.box.setCurrentIndex(leaf.accent.material.box.findData(gold))
    leaf.accent.share.slider.setValue(20)
    table.lay()
    laid = table.session.layout.by_id("f1")
    struck = sum(table.session.laid_doc.materials[k].code == gold for k in laid.stock)
    assert struck / len(laid.stock) == pytest.approx(0.2, abs=0.03)


def test_the_chart_names_a_material_and_the_bench_lights_it(table):
    table.card.turn_to("Colour")
    leaf = table.card.leaf
    pump(lambda: False, 0.05)
    chart = leaf.chart
    m = chart.materials[-1]  # the smallest disc lies uppermost
    at = chart._place(m.lab[1], m.lab[2]).toPoint()
    QTest.mouseClick(chart, Qt.MouseButton.LeftButton, pos=at)
    assert table.bench.lit == m.code
    leaf._light(m.code)
    assert table.bench.lit is None
    leaf.view.box.setCurrentIndex(1)
    assert table.bench.colours == "difference"
    leaf.view.box.setCurrentIndex(0)


def test_distance_blends_the_picture(table):
    table.card.turn_to("Colour")
    eye = table.card.leaf.eye

    def contrast(k):
        eye.far.slider.setValue(k)
        eye.look()
        pump(eye.settled)
        pump(lambda: False, 0.05)
        image = (
            eye.picture.pixmap()
            .toImage()
            .convertToFormat(eye.picture.pixmap().toImage().Format.Format_RGB888)
        )
        a = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
        return a[:, : 3 * image.width()].astype(float)[20:-20].std(axis=0).mean()

    near, far = contrast(0), contrast(9)  # 0.5 m and 15 m
    assert far < 0.5 * near
    assert "1 arc minute" in eye.blends.text()


def test_grout_colour(table):
    table.card.turn_to("Colour")
    table.card.leaf.set_grout(QColor(255, 0, 0))
    # IEC 61966-2-1, D65
    assert table.session.doc.grout_lab == pytest.approx((53.23, 80.11, 67.22), abs=0.05)


def test_a_short_material_is_offered_stand_ins(table):
    session = table.session
    code = max(counts(session.laid_doc, session.layout), key=lambda c: c.pieces).material.code
    few = tuple(replace(m, pieces=1) if m.code == code else m for m in session.doc.materials)
    session.apply("few", replace(session.doc, materials=few))
    table.lay()
    table.card.turn_to("Colour")
    shorts = table.card.leaf.shorts
    assert list(shorts.short) == [code]
    offers = shorts.offers()
    assert [o.delta_e for o in offers] == sorted(o.delta_e for o in offers)
    press(shorts, "Lay it")
    table.lay()
    assert code not in table.laid_codes("f1") | table.laid_codes("f2")
    assert shorts.short == {} or code not in shorts.short


def test_look_again_lists_shows_and_heeds_limits(table):
    table.card.turn_to("Look again")
    leaf = table.card.leaf
    leaf.numbers["sharp_deg"].spin.setValue(90.0)
    leaf.numbers["colour_delta_e"].spin.setValue(0.5)
    table.lay()
    leaf.refresh()
    assert pump(lambda: leaf.settled() and bool(leaf.findings))
    assert leaf.list.count() > 0
    assert table.session.doc.limits.colour_delta_e == 0.5
    leaf.list.setCurrentRow(0)
    f = leaf.chosen_finding()
    middle = table.bench.to_mm(QPointF(table.bench.width() / 2, table.bench.height() / 2))
    assert middle == pytest.approx(f.at_mm, abs=0.5)
    strict = len(leaf.findings)
    press(leaf, "As is common practice")
    table.lay()
    leaf.refresh()
    assert pump(lambda: leaf.settled() and len(leaf.findings) < strict)
    assert {a for a, *_ in LIMITS} <= set(leaf.numbers)


def test_a_mend_mends_or_says_why(table):
    table.card.turn_to("Look again")
    leaf = table.card.leaf
    leaf.numbers["colour_delta_e"].spin.setValue(0.5)
    table.lay()
    leaf.refresh()
    assert pump(lambda: leaf.settled() and bool(leaf.findings))
    leaf.list.setCurrentRow(0)
    before = table.session.doc
    press(leaf, "Mend it")
    if table.session.doc is before:
        assert leaf.reason.text().startswith("Not mended: ")
    else:
        assert table.session.undo_label.startswith("Mend")


def test_sheets_write_and_print_true_to_size(table, tmp_path):
    from pypdf import PdfReader
    from PySide6.QtPrintSupport import QPrinter

    table.card.turn_to("Sheets")
    leaf = table.card.leaf
    leaf.write(str(tmp_path / "cartoon.pdf"))
    assert pump(lambda: any("Written to" in words for words in table.said))
    page = PdfReader(tmp_path / "cartoon.pdf").pages[0]
    assert float(page.mediabox.width) == pytest.approx(297 / 25.4 * 72, abs=0.01)
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFileName(str(tmp_path / "printed.pdf"))
    printing = leaf.printing
    printing.print_on(printer)
    assert printing.going.isVisible() and not printing.print.isVisible()
    assert pump(lambda: "2 pages sent to the printer, at 100 %." in table.said)
    assert pump(lambda: printing.print.isVisible() and not printing.going.isVisible())
    assert len(PdfReader(tmp_path / "printed.pdf").pages) == 2


def test_figures_count_what_is_laid_and_write(table, tmp_path):
    from core.figures import write_counts_csv

    table.card.turn_to("Figures")
    leaf = table.card.leaf
    total = sum(
        int(leaf.table.item(k, 1).text().replace(",", "")) for k in range(leaf.table.rowCount())
    )
    assert total == len(table.session.layout)
    leaf.write(str(tmp_path / "counts.csv"), write_counts_csv)
    assert pump((tmp_path / "counts.csv").exists)
    assert len((tmp_path / "counts.csv").read_text().splitlines()) == leaf.table.rowCount() + 1


def test_paths_for_a_cutting_machine_are_of_the_chosen_fields(table, tmp_path, monkeypatch):
    import ezdxf
    from PySide6.QtWidgets import QFileDialog

    session, path = table.session, tmp_path / "pieces.dxf"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *a: (str(path), ""))
    chosen = session.layout.fields[0]
    session.select((chosen.field_id,))
    table.card.turn_to("Figures")
    press(table.card.leaf, "Paths for a cutting machine ...")
    assert pump(path.exists), table.said
    paths = ezdxf.readfile(path).modelspace().query("POLYLINE")
    assert len(paths) == len(chosen.pieces)


# the stock


@pytest.fixture
def room(table, tmp_path):
    room = Stockroom(table.session, path=tmp_path / "stock.sqlite")
    room.show()
    yield room
    room.done(0)


def test_a_list_is_taken_line_by_line(room, tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("Article;Name;Hex;Price\nX1;sky;#88aadd;1,50\nX2;bad;zz;2\n;none;#112233;3\n")
    dialog = room.take_list(str(path))
    assert [m.code for m in dialog.materials] == ["X1"]
    assert [r.line for r in dialog.refused] == [3, 4]
    assert dialog.faults.count() == 2
    dialog.columns["description"].box.setCurrentIndex(0)
    assert dialog.materials[0].description == "X1"
    press(dialog, "Take 1")
    assert str(room.store.material("X1").price) == "1.50"


def test_set_aside_take_out_put_back(room, table):
    press_in = room.findChildren(QPushButton)
    by_words = {b.text(): b for b in press_in}
    by_words["Use in this commission"].click()
    table.lay()
    by_words["Set aside what it needs"].click()
    needed = {c.material.key: c.take for c in room.share.counted()}
    assert room.store.set_aside_for(table.session.doc.key) == {c: n for c, n in needed.items() if n}
    code, n = next(iter(needed.items()))
    before = room.store.material(code).pieces
    by_words["Take out, it is laid"].click()
    assert room.store.material(code).pieces == before - n
    kinds = {m.kind for m in room.store.movements(code)}
    assert {"set aside", "taken"} <= kinds
    assert room.ledger.rowCount() == len(room.store.movements())


def test_a_form_keeps_a_material_or_says_why(room):
    room.shelf.selectRow(0)
    room.edit()
    from app.jobcard.materialform import MaterialForm

    form = room.findChildren(MaterialForm)[-1]
    code = form.material.code
    form.numbers["pieces"].spin.setValue(77)
    form.lines["code"].setText(room.materials[1].code)
    press(form, "Keep")
    assert "already" in form.told.text()
    form.lines["code"].setText(code)
    press(form, "Keep")
    assert room.store.material(code).pieces == 77


def test_stock_in_the_commission_is_what_is_free(room, table):
    code = room.materials[0].code
    pieces = room.store.material(code).pieces
    room.store.set_aside("Another", {code: 100})
    doc, _ = use_stock(table.session.doc, room.store)
    assert doc.material(code).pieces == pieces - 100


def test_a_colour_is_read_from_a_photograph(table, tmp_path):
    """Every patch of a drawn chart, under a warm light, with a sample beside it."""
    _, lab = chart_colours()
    sample = np.array([55.0, 30.0, -20.0])
    picture = np.full((460, 900, 3), 90, np.uint8)
    rgb = bytes_from_lab(np.vstack([lab, sample[None]])).astype(float)
    for k in range(24):
        y, x = 40 + 100 * (k // 6), 40 + 100 * (k % 6)
        picture[y : y + 80, x : x + 80] = rgb[k]
    picture[150:300, 700:860] = rgb[24]
    warm = (picture * (0.95, 0.9, 0.8)).astype(np.uint8)
    Image.fromarray(warm).save(tmp_path / "photo.png")
    window = Photograph(table.session, path=tmp_path / "stock.sqlite")
    window.show()
    window.open_photo(str(tmp_path / "photo.png"))
    assert pump(lambda: window.correction is not None, 30), window.told.text()
    a = window.photo.to_widget(720, 170).toPoint()
    b = window.photo.to_widget(840, 280).toPoint()
    QTest.mousePress(window.photo, Qt.MouseButton.LeftButton, pos=a)
    QTest.mouseMove(window.photo, (a + b) / 2)
    QTest.mouseRelease(window.photo, Qt.MouseButton.LeftButton, pos=b)
    assert window.reading is not None, window.told.text()
    assert ciede2000(window.reading.lab, sample) < 3.0
    window.code.setText("PH-01")
    press(window, "Add to the stock")
    read = window.reading.lab
    with StockStore(tmp_path / "stock.sqlite") as store:
        assert store.material("PH-01").obtained == "photograph"
        # what is stocked already takes the colour and keeps all else
        old = store.materials()[0]
        window.code.setText(old.code)
        press(window, f"Give {old.code} this colour")
        assert store.material(old.code) == replace(
            old, lab=tuple(round(v, 2) for v in read), obtained="photograph", example=False
        )
    # what was read by one light does not hold in another
    window.grey()
    QTest.mousePress(window.photo, Qt.MouseButton.LeftButton, pos=a)
    QTest.mouseRelease(window.photo, Qt.MouseButton.LeftButton, pos=b)
    assert window.correction.sure is False and window.reading is None
    assert not window.add_button.isEnabled()
    window.done(0)


def test_a_photograph_without_a_chart_is_refused(table, tmp_path):
    Image.fromarray(np.full((200, 300, 3), 128, np.uint8)).save(tmp_path / "plain.png")
    window = Photograph(table.session, path=tmp_path / "stock.sqlite")
    window.show()
    window.open_photo(str(tmp_path / "plain.png"))
    assert pump(lambda: "not found" in window.told.text(), 30)
    assert window.correction is None
    press(window, "Mark its four corners")
    assert "first of row 1" in window.by_chart.text()
    QTest.mouseClick(window.photo, Qt.MouseButton.LeftButton, pos=QPoint(200, 200))
    assert "last of row 1" in window.by_chart.text()
    window.done(0)


def test_a_sketch_is_read_aside_and_a_bad_one_changes_nothing(table, tmp_path):
    table.card.turn_to("Sketch")
    leaf, before = table.card.leaf, table.session.doc
    (tmp_path / "notes.png").write_text("call the plasterer")
    leaf.bring_in(str(tmp_path / "notes.png"))
    assert pump(lambda: any("notes.png" in words for words in table.said))
    leaf.bring_in(str(tmp_path / "none.png"))
    assert pump(lambda: any("none.png" in words for words in table.said))
    assert table.session.doc is before
    Image.new("RGB", (300, 200), (90, 140, 180)).save(tmp_path / "sea.jpg")
    leaf.bring_in(str(tmp_path / "sea.jpg"))
    assert pump(lambda: table.session.doc is not before)
    assert table.session.doc.sketch.width_px == 300
    assert table.session.undo_label == "Bring in a sketch"
