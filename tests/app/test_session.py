"""The session: edits, undo, what is to be saved, and files that cannot be read."""

from __future__ import annotations

import os
import threading
import zipfile
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobcard_rig import pump, small
from window_rig import panel, table

from app.session import MOST_UNDO, Session
from core import archive, keptaside, openfiles
from core.archive import Work
from core.commission import Commission, add_flow_line, remove_field
from core.errors import EmblemaError
from core.files import data_folder


class Heard(list):
    """Whatever a session says, by the name of the signal."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        session.changed.connect(lambda: self.append("changed"))
        session.opened.connect(lambda: self.append("opened"))
        session.path_changed.connect(lambda: self.append("path"))
        session.selection_changed.connect(lambda: self.append("selection"))
        session.message.connect(self.append)


@pytest.fixture(scope="module")
def one():
    s = Session()
    yield s
    s.close()


@pytest.fixture
def session(one):
    one.begin(Work(panel(), {}))
    for kept in keptaside.left_behind():
        kept.throw_away()
    return one


def titled(session: Session, title: str) -> Commission:
    """Give the commission a new name, as one edit."""
    doc = replace(session.doc, title=title)
    session.apply(f"Call it {title}", doc)
    return doc


# --- edits ------------------------------------------------------------------------------------


def test_an_edit_is_one_step_with_its_label(session):
    first = session.doc
    heard = Heard(session)
    second = titled(session, "Heron")
    assert session.doc is second and heard == ["changed"]
    assert (session.undo_label, session.redo_label) == ("Call it Heron", None)
    third = titled(session, "Reeds")
    session.undo()
    assert session.doc is second
    assert (session.undo_label, session.redo_label) == ("Call it Heron", "Call it Reeds")
    assert heard[-1] == "Taken back: Call it Reeds"
    session.undo()
    assert session.doc is first
    assert (session.undo_label, session.redo_label) == (None, "Call it Heron")
    session.redo()
    session.redo()
    assert session.doc is third and session.redo_label is None
    assert heard[-1] == "Done again: Call it Reeds"


def test_with_nothing_to_take_back_nothing_happens(session):
    first, heard = session.doc, Heard(session)
    session.undo()
    session.redo()
    assert session.doc is first and heard == []


def test_an_edit_that_changes_nothing_is_no_step(session):
    heard = Heard(session)
    session.apply("Nothing", session.doc)
    session.apply("Nothing", replace(session.doc))
    assert session.undo_label is None and heard == [] and not session.dirty


def test_an_edit_after_undo_ends_what_could_be_done_again(session):
    titled(session, "Heron")
    session.undo()
    titled(session, "Reeds")
    session.redo()
    assert session.doc.title == "Reeds" and session.redo_label is None


def test_so_many_steps_are_kept(session):
    for k in range(MOST_UNDO + 5):
        titled(session, f"{k}")
    for _ in range(MOST_UNDO):
        session.undo()
    assert session.undo_label is None and session.doc.title == "4"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.one_of(st.sampled_from(["undo", "redo", "same"]), st.integers(0, 3))))
def test_undo_and_redo_are_a_walk_along_what_was_done(one, steps):
    one.begin(Work(panel(), {}))
    line, at = [one.doc], 0
    for step in steps:
        if step == "undo":
            at = max(at - 1, 0)
            one.undo()
        elif step == "redo":
            at = min(at + 1, len(line) - 1)
            one.redo()
        elif step == "same":
            one.apply("same", replace(one.doc))
        else:
            doc = replace(line[at], seed=step + 10)
            if doc != line[at]:
                line, at = [*line[: at + 1], doc], at + 1
            one.apply(f"{step}", doc)
        assert one.doc is line[at] or one.doc == line[at]
        assert (one.undo_label is None) == (at == 0)
        assert (one.redo_label is None) == (at == len(line) - 1)
        assert one.dirty == (one.doc is not line[0])


def test_what_is_no_longer_there_is_no_longer_chosen(session):
    doc, images = small()
    session.begin(Work(doc, images))
    session.select(("f1", "f2"))
    heard = Heard(session)
    session.apply("Remove", remove_field(doc, "f1"))
    assert session.selection == ("f2",) and heard == ["changed", "selection"]
    session.undo()
    assert session.selection == ("f2",)
    session.select_piece("f2", 3)
    session.apply("Remove", remove_field(doc, "f2"))
    assert session.selection == () and session.selected_piece is None


def test_pictures_stay_through_undo(session):
    doc, images = small()
    session.apply("Bring a sketch in", replace(session.doc, sketch=doc.sketch), images)
    session.undo()
    session.redo()
    assert session.images == images and session.doc.sketch == doc.sketch


def test_one_drag_is_one_step_and_one_change():
    with table() as t:
        doc, _ = add_flow_line(panel(), [(10, 40), (50, 40), (90, 40)])
        t.begin(doc)
        heard = Heard(t.session)
        t.bench.take("Flow line")
        heard.clear()
        t.drag((50, 40), (55, 20))
        assert heard == ["changed"] and t.session.undo_label == "Move a flow line"
        t.session.undo()
        assert t.session.doc is doc and not t.session.dirty


# --- files ------------------------------------------------------------------------------------


def test_a_save_keeps_all_and_nothing_more_is_to_be_saved(session, tmp_path):
    doc, images = small()
    session.begin(Work(doc, images))
    titled(session, "Heron")
    assert session.dirty
    heard = Heard(session)
    file = tmp_path / "heron.emblema"
    session.save(file)
    assert not session.dirty and session.path == file
    assert heard == ["path", "Saved heron.emblema"]
    assert archive.load(file) == (session.doc, images)
    assert session.undo_label == "Call it Heron"  # a save is not the end of undo
    session.undo()
    assert session.dirty
    session.redo()
    assert not session.dirty
    session.open(file)
    assert session.doc.title == "Heron" and session.images == images
    assert not session.dirty and session.undo_label is None
    titled(session, "Reeds")
    session.save()  # where it came from
    assert archive.load(file)[0].title == "Reeds"
    assert [p.name for p in tmp_path.iterdir()] == ["heron.emblema"]


def test_a_save_asks_for_a_place_first(session):
    titled(session, "Heron")
    with pytest.raises(EmblemaError, match="Choose where to save"):
        session.save()
    assert session.dirty


def test_a_save_that_fails_loses_nothing(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    was = file.read_bytes()
    doc = titled(session, "Heron")
    with pytest.raises(EmblemaError, match="could not be written"):
        session.save(tmp_path / "no folder" / "heron.emblema")
    assert session.doc is doc and session.dirty and session.path == file
    assert file.read_bytes() == was
    session.save()
    assert archive.load(file)[0].title == "Heron"


def test_a_picture_that_is_missing_is_told_before_the_file_is_touched(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    was = file.read_bytes()
    session.apply("Sketch", replace(session.doc, sketch=small()[0].sketch))
    with pytest.raises(EmblemaError, match="picture .* is missing"):
        session.save()
    assert file.read_bytes() == was and session.dirty


def test_a_new_commission_is_to_be_saved(session):
    heard = Heard(session)
    session.new(300, 200, "Hearth")
    assert (session.doc.title, session.doc.width_mm, session.doc.height_mm) == ("Hearth", 300, 200)
    assert session.dirty and session.path is None and session.undo_label is None
    assert session.doc.materials
    assert heard.count("opened") == heard.count("changed") == 1


def broken(folder, how: str):
    """Write a file that cannot be opened; return it and a word that its message must hold."""
    file = folder / f"{how}.emblema"
    archive.save(file, *small())
    whole = file.read_bytes()
    if how == "cut short":
        file.write_bytes(whole[: len(whole) // 2])
    elif how == "empty":
        file.write_bytes(b"")
    elif how == "a letter":
        file.write_text("Dear client, the wall is ready.")
    elif how == "missing":
        file.unlink()
    elif how == "a folder":
        file.unlink()
        file.mkdir()
    elif how == "flipped":
        middle = len(whole) // 3
        file.write_bytes(whole[:middle] + bytes([whole[middle] ^ 0xFF]) + whole[middle + 1 :])
    else:
        with zipfile.ZipFile(file) as z:
            members = {n: z.read(n) for n in z.namelist()}
        text = members["commission.json"].decode()
        if how == "later":
            text = text.replace(f'"emblema": {archive.VERSION}', '"emblema": 99')
        elif how == "no width":
            text = text.replace('"width_mm": 120.0', '"width_mm": "wide"')
        elif how == "no pieces of text":
            text = text[: len(text) // 2]
        elif how == "no picture":
            members = {n: v for n, v in members.items() if not n.startswith("images/")}
        elif how == "no commission":
            members.pop("commission.json")
        if "commission.json" in members:
            members["commission.json"] = text.encode()
        with zipfile.ZipFile(file, "w") as z:
            for n, v in members.items():
                z.writestr(n, v)
    return file


BROKEN = {
    "cut short": "damaged",
    "empty": "damaged",
    "a letter": "not an Emblema commission",
    "missing": "no file",
    "a folder": "could not be read",
    "flipped": "damaged",
    "later": "later Emblema",
    "no width": "width is the text 'wide', which is not a number",
    "no pieces of text": "cannot be read",
    "no picture": "picture is missing",
    "no commission": "commission.json is missing",
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_file_that_cannot_be_read_says_so_and_loses_nothing(session, tmp_path, how):
    file = broken(tmp_path, how)
    home = tmp_path / "home.emblema"
    session.save(home)
    doc = titled(session, "Heron")
    session.select(("f1",))
    heard = Heard(session)
    for open_it in (session.open, session.open_copy):
        with pytest.raises(EmblemaError, match=BROKEN[how]) as said:
            open_it(file)
        assert file.name in str(said.value) and "\n" not in str(said.value)
    assert session.doc is doc and session.path == home and session.dirty
    assert session.selection == ("f1",) and session.undo_label == "Call it Heron"
    assert heard == []


# --- work kept aside --------------------------------------------------------------------------


def kept(session: Session, file=None) -> list[keptaside.LeftWork]:
    """Wait for what is being kept, and return what another window would be offered."""
    pump(lambda: session._aside.idle)
    return keptaside.left_behind(file)


def places() -> set[str]:
    folder = data_folder() / "unsaved"
    return set(os.listdir(folder)) if folder.exists() else set()


def mishap(session: Session) -> None:
    """End the session's hold of its place, as the system does when its process is killed."""
    pump(lambda: session._aside.idle)
    session._place._lock.release()
    session._place, session._place_used, session._may_be_kept = keptaside.Place(), False, False
    session.begin(Work(panel(), {}))


def test_unsaved_work_is_kept_aside_and_found_again(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    session.keep_aside()
    assert kept(session) == []  # nothing to keep
    doc = titled(session, "Heron")
    session.keep_aside()
    assert kept(session) == []  # its window is alive
    mishap(session)
    os.utime(file)  # whatever the dates
    (found,) = kept(session, file)
    assert (found.file, found.title) == (file, "Heron") and archive.load(file)[0].title == "Panel"
    assert kept(session, tmp_path / "other.emblema") == []
    heard = Heard(session)
    session.recover(found)
    assert session.doc == doc and session.path == file and session.dirty
    assert heard.count("opened") == 1 and kept(session) == []  # it is this window's now
    with pytest.raises(EmblemaError, match="open in another window"):
        session.recover(found)
    mishap(session)  # again, before anything else was done
    (found,) = kept(session, file)
    session.recover(found)
    session.save()
    mishap_free = kept(session)
    assert archive.load(file)[0] == doc and mishap_free == [] and not found.work.exists()


def test_a_new_commission_is_kept_aside_too(session, tmp_path):
    session.new(300, 200, "Hearth")
    session.keep_aside()
    mishap(session)
    (found,) = kept(session)
    assert found.file is None and archive.load(found.work)[0].title == "Hearth"
    session.recover(found)
    session.save(tmp_path / "hearth.emblema")
    mishap(session)
    assert kept(session) == []


def test_two_windows_with_new_commissions_keep_apart(session):
    other = Session()
    for s, title in ((session, "Hearth"), (other, "Porch")):
        s.new(300, 200, title)
        s.keep_aside()
    mishap(session)
    mishap(other)
    assert {k.title for k in kept(session)} == {"Hearth", "Porch"}
    other.close()


def test_work_that_is_let_go_is_not_found_again(session):
    titled(session, "Heron")
    session.keep_aside()
    session.forget_kept()
    mishap(session)
    assert kept(session) == []


@pytest.mark.parametrize("how", ["undo", "begin anew", "close"])
def test_what_was_taken_back_is_not_found_again(session, tmp_path, how):
    """Kept aside, then back to what is saved: nothing was lost."""
    s = Session()
    s.begin(Work(panel(), {}))
    before = places()
    s.save(tmp_path / "heron.emblema")
    titled(s, "Heron")
    s.keep_aside()
    s.undo()
    assert not s.dirty
    if how == "undo":
        mishap(s)  # at once
    elif how == "begin anew":
        s.new(300, 200, "Hearth")
    s.close()
    assert kept(session) == []
    if how != "undo":
        assert places() == before  # nor is anything else left


def test_the_clock_keeps_what_has_changed_and_nothing_else(session):
    titled(session, "Heron")
    assert pump(lambda: not session.laying, 60)  # what stands is kept too
    session._keep.timeout.emit()
    assert pump(lambda: session._aside.idle)
    work = session._place._lock.path.parent / "work.emblema"
    first = work.stat()
    session._keep.timeout.emit()
    assert pump(lambda: session._aside.idle)
    assert work.stat().st_ino == first.st_ino and work.stat().st_mtime_ns == first.st_mtime_ns
    titled(session, "Reeds")
    session._keep.timeout.emit()
    assert pump(lambda: session._aside.idle)
    assert archive.load(work)[0].title == "Reeds"
    session.forget_kept()


def test_keeping_aside_does_not_hold_up_the_window(session, monkeypatch):
    """It is written by another thread than the one that draws."""
    threads = []
    keep = keptaside.Place.keep

    def watched(*given):
        threads.append(threading.current_thread())
        return keep(*given)

    monkeypatch.setattr(keptaside.Place, "keep", watched)
    titled(session, "Heron")
    session.keep_aside()
    assert pump(lambda: session._aside.idle)
    assert len(threads) == 1 and threads[0] is not threading.main_thread()


def test_a_data_folder_that_cannot_be_written_loses_nothing(tmp_path, monkeypatch):
    (tmp_path / "data").write_text("a file where the folder should be")
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    session, said = Session(), []
    session.message.connect(said.append)
    session.new(300, 200, "Threshold")
    for _ in range(3):
        session.keep_aside()
        assert pump(lambda: session._aside.idle)
    (once,) = [words for words in said if "kept aside" in words]
    assert str(tmp_path / "data") in once and "save it" in once
    session.save(tmp_path / "threshold.emblema")
    assert not session.dirty and said[-1] == "Saved threshold.emblema"
    session.forget_kept()
    session.close()


# --- a file that others have open too ---------------------------------------------------------


def test_a_file_changed_by_another_is_not_replaced_unasked(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    other = Session()
    other.open(file)
    titled(other, "By another")
    other.save()
    titled(session, "Heron")
    with pytest.raises(openfiles.ChangedMeanwhile, match="heron.emblema.*changed by another"):
        session.save()
    assert archive.load(file)[0].title == "By another" and session.dirty
    session.save(replace_changed=True)
    assert archive.load(file)[0].title == "Heron" and not session.dirty
    titled(session, "Reeds")
    session.save()  # nobody has changed it since
    with pytest.raises(openfiles.ChangedMeanwhile):
        titled(other, "Again")
        other.save()
    other.close()


def test_a_file_touched_moved_away_or_written_the_same_is_saved_unasked(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    os.utime(file, (1, 1))
    titled(session, "Heron")
    session.save()
    file.write_bytes(file.read_bytes())
    titled(session, "Reeds")
    session.save()
    file.rename(tmp_path / "elsewhere.emblema")
    titled(session, "Pond")
    session.save()
    assert archive.load(file)[0].title == "Pond"


def test_work_found_again_knows_that_its_file_was_changed_meanwhile(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    titled(session, "Heron")
    session.keep_aside()
    mishap(session)
    archive.save(file, replace(panel(), title="By another"), {})
    (found,) = kept(session, file)
    session.recover(found)
    with pytest.raises(openfiles.ChangedMeanwhile):
        session.save()
    session.forget_kept()


def test_a_file_that_is_only_looked_at_is_not_saved_to(session, tmp_path):
    file = tmp_path / "heron.emblema"
    session.save(file)
    session.open(file, look=True)
    assert session.looking and not openfiles.is_open(file)
    titled(session, "Heron")
    with pytest.raises(EmblemaError, match="only looked at"):
        session.save()
    session.save(tmp_path / "mine.emblema")
    assert not session.looking and session.path.name == "mine.emblema"
    assert archive.load(file)[0].title == "Panel"


def test_a_file_is_marked_as_open_for_as_long_as_it_is(session, tmp_path):
    first, second = tmp_path / "first.emblema", tmp_path / "second.emblema"
    session.save(first)
    link = tmp_path / "link.emblema"
    link.symlink_to(first)
    assert openfiles.is_open(first) and openfiles.is_open(link)
    session.save(second)
    assert openfiles.is_open(second) and not openfiles.is_open(first)
    session.new(300, 200, "Hearth")
    assert not openfiles.is_open(second)
    assert not openfiles._mark(first).exists() and not openfiles._mark(second).exists()
