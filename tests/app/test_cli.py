"""The command line on real files: what it writes, and one clear line on bad input."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from jobcard_rig import small
from pdf_paths import boxes
from PIL import Image
from pypdf import PdfReader

from app import cli
from app.cli import COMMANDS, main
from core import archive

ROOT = Path(__file__).resolve().parents[2]


def setting_out(folder: Path, **properties: object) -> Path:
    ring = [[0, 0], [90, 0], [90, 60], [0, 60], [0, 0]]
    given = {"name": "Ground", "tessera_mm": 10, "joint_mm": 1.5, "laying": "tessellatum"}
    body = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {**given, **properties},
                "geometry": {"type": "Polygon", "coordinates": [ring]},
            },
            {
                "type": "Feature",
                "properties": {"field": None},
                "geometry": {"type": "LineString", "coordinates": [[0, 20], [45, 26], [90, 20]]},
            },
        ],
    }
    path = folder / "wall.geojson"
    path.write_text(json.dumps(body), encoding="utf-8")
    return path


@pytest.fixture
def commission(tmp_path: Path) -> Path:
    path = tmp_path / "threshold.emblema"
    archive.save(path, *small())
    return path


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_lay_writes_csv_svg_and_png(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new" / "folder"
    assert main(["lay", str(setting_out(tmp_path)), "--out", str(out)]) == 0
    assert {p.name for p in out.iterdir()} == {"tesserae.csv", "layout.svg", "layout.png"}
    laid = rows(out / "tesserae.csv")
    assert 30 < len(laid) < 55  # 90 x 60 mm at a pitch of 11.5 mm: 40.8
    assert f"{len(laid)} tesserae" in capsys.readouterr().out
    with Image.open(out / "layout.png") as image:
        assert image.size == (180, 120)


def test_laying_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    source = setting_out(tmp_path)
    for name in ("a", "b"):
        assert main(["lay", str(source), "--out", str(tmp_path / name)]) == 0
    one, two = (
        {p.name: p.read_bytes() for p in (tmp_path / name).iterdir()} for name in ("a", "b")
    )
    assert one == two


def test_counts_and_cartoon_of_a_commission(commission: Path, tmp_path: Path) -> None:
    assert main(["counts", str(commission), "--out", str(tmp_path / "c.csv")]) == 0
    assert sum(int(r["pieces"]) for r in rows(tmp_path / "c.csv")) > 50
    for paper, pages in (("A4", 2), ("A3", 2), ("whole", 2)):
        pdf = tmp_path / f"{paper}.pdf"
        arguments = ["cartoon", str(commission), "--out", str(pdf), "--paper", paper]
        assert main([*arguments, "--mirrored"]) == 0
        assert len(boxes(pdf)) == pages


def test_a_cartoon_on_any_paper_from_either_side(commission: Path, tmp_path: Path) -> None:
    def written(*given: str) -> tuple[list[tuple[float, float]], list[str]]:
        pdf = tmp_path / "c.pdf"
        assert main(["cartoon", str(commission), "--out", str(pdf), *given]) == 0
        return boxes(pdf), [" ".join(p.extract_text().split()) for p in PdfReader(pdf).pages]

    size, _ = written("--paper", "letter")
    assert sorted(size[1]) == pytest.approx([215.9, 279.4], abs=1e-3)
    size, words = written("--paper", "roll:300", "--side", "back", "--correct", "99.6x100.2")
    assert min(abs(v - 300) for v in size[1]) < 1e-3
    assert "mirrored" in words[1] and words[1].endswith("printer corrected 99.6x100.2")
    _, words = written("--codes", "studio", "--paper", "whole")
    assert "studio's code" in words[0] and "mirrored" not in words[1]


def test_the_commission_file_is_left_as_it_was(commission: Path, tmp_path: Path) -> None:
    before = commission.read_bytes()
    main(["counts", str(commission), "--out", str(tmp_path / "c.csv")])
    assert commission.read_bytes() == before


BAD = {
    "no file": (["lay", "none.geojson", "--out", "o"], "none.geojson"),
    "no commission": (["counts", "none.emblema", "--out", "o.csv"], "none.emblema"),
    "not a commission": (["cartoon", "notes.txt", "--out", "o.pdf"], "notes.txt"),
    "no such paper": (["cartoon", "x.emblema", "--out", "o.pdf", "--paper", "B5"], "no paper 'B5'"),
    "no such roll": (
        ["cartoon", "x.emblema", "--out", "o.pdf", "--paper", "roll:9"],
        "200 to 3000",
    ),
    "no correction": (["cartoon", "x.emblema", "--out", "o.pdf", "--correct", "9"], "99.6x100.2"),
    "too far off": (["cartoon", "x.emblema", "--out", "o.pdf", "--correct", "94x100"], "95 to 105"),
    "not a stock list": (["match", "50", "0", "0", "--stock", "notes.txt"], "notes.txt"),
    "no such colour": (["match", "500", "0", "0"], "0 to 100"),
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_input_ends_with_two_and_one_line(
    fault: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "notes.txt").write_text("call the plasterer", encoding="utf-8")
    arguments, words = BAD[fault]
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and err.startswith("emblema: ") and words in err
    assert {p.name for p in tmp_path.iterdir()} == {"notes.txt"}


def test_a_fault_within_a_setting_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lay", str(setting_out(tmp_path, joint_mm=12)), "--out", str(tmp_path / "o")]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "wall.geojson" in err and "joint is 12 mm" in err
    assert not (tmp_path / "o").exists()


def test_an_output_that_cannot_be_written(
    commission: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["counts", str(commission), "--out", str(tmp_path / "no" / "c.csv")]) == 2
    assert "c.csv" in capsys.readouterr().err


def test_words_that_are_no_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as e:
        main(["cartoon", "x.emblema"])
    assert e.value.code == 2 and "--out" in capsys.readouterr().err


def test_a_repair_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = setting_out(tmp_path)
    body = json.loads(source.read_text(encoding="utf-8"))
    ring = [[0, 0], [90, 60], [90, 0], [0, 60], [0, 0]]
    body["features"][0]["geometry"]["coordinates"] = [ring]
    source.write_text(json.dumps(body), encoding="utf-8")
    assert main(["lay", str(source), "--out", str(tmp_path / "o")]) == 0
    assert "crossed itself" in capsys.readouterr().err


def test_the_demo_command_writes_everything(tmp_path: Path) -> None:
    """As a user runs it: another process, another folder, no screen."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, "-m", "app", "demo", "--out", str(tmp_path / "demo")]
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    out = tmp_path / "demo"
    assert {p.name for p in out.iterdir()} == {
        *("heron.emblema", "tesserae.csv", "counts.csv"),
        *("cartoon.pdf", "layout.png", "layout.svg"),
    }
    laid, counted = rows(out / "tesserae.csv"), rows(out / "counts.csv")
    assert len(laid) >= 4000 and len({r["field"] for r in laid}) >= 12
    assert sum(int(r["pieces"]) for r in counted) == len(laid)
    assert len(counted) >= 14 and {"gold glass", "shell"} <= {r["kind"] for r in counted}
    doc, images = archive.load(out / "heron.emblema")
    assert (doc.width_mm, doc.height_mm) == (1200.0, 600.0) and len(images) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["seams", "x.emblema"], "no command 'seams'. The commands are lay, demo,"),
        (["counted"], "no command 'counted'"),
        (["gone.emblema"], "no file 'gone.emblema'"),
        (["a.emblema", "b.emblema"], "one file at a time"),
        (["lay", "none.geojson"], "--out"),
    ],
)
def test_a_word_that_is_no_command_opens_no_window(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        code = main(words)
    except SystemExit as e:
        code = int(str(e.code))
    err = capsys.readouterr().err
    assert code == 2 and told in err and err.count("\n") == 1


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as e:
        main(["--help"])
    assert e.value.code == 0
    out = capsys.readouterr().out
    assert all(f"\n    {command} " in out for command in COMMANDS)


def test_a_reader_that_stops_early_is_no_error(tmp_path: Path) -> None:
    """A pipe whose reader is gone before the first word."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "EMBLEMA_DATA": str(tmp_path)}
    for words in (["stock", "list"], ["--help"]):
        read, write = os.pipe()
        os.close(read)
        command = [sys.executable, "-m", "app", *words]
        done = subprocess.run(command, env=env, stdout=write, stderr=subprocess.PIPE, text=True)
        os.close(write)
        assert (done.returncode, done.stderr) == (0, "")


def test_a_fault_of_the_program_itself_is_one_line_and_a_file_of_details(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    monkeypatch.setattr(cli, "_counts", lambda a: [][0])
    assert main(["counts", "x.emblema", "--out", "c.csv"]) == 1
    err = capsys.readouterr().err
    log = tmp_path / "data" / cli.FAULTS
    assert err.count("\n") == 1 and "IndexError" in err and str(log) in err
    assert "Traceback" in log.read_text(encoding="utf-8")


def moved(source: Path, by: tuple[float, float], scale: float = 1.0) -> Path:
    body = json.loads(source.read_text(encoding="utf-8"))
    for f in body["features"]:
        given = f["geometry"]["coordinates"]
        rings = given if f["geometry"]["type"] == "Polygon" else [given]
        for ring in rings:
            ring[:] = [[x * scale + by[0], y * scale + by[1]] for x, y in ring]
    source.write_text(json.dumps(body), encoding="utf-8")
    return source


def test_pictures_are_framed_on_the_work_wherever_it_lies(tmp_path: Path) -> None:
    source = moved(setting_out(tmp_path, tessera_mm=4, joint_mm=0.8), (-300.0, 1e6))
    assert main(["lay", str(source), "--out", str(tmp_path / "o")]) == 0
    laid = rows(tmp_path / "o" / "tesserae.csv")
    assert all(-300 < float(r["x_mm"]) < -210 and 1e6 < float(r["y_mm"]) < 1e6 + 60 for r in laid)
    svg = (tmp_path / "o" / "layout.svg").read_text(encoding="utf-8")
    assert 'viewBox="-300 1000000 90 60"' in svg
    with Image.open(tmp_path / "o" / "layout.png") as image:
        assert image.size == (270, 180)  # 12 pixels a tessera of 4 mm
        colours = image.convert("RGB").getcolors(1 << 20)
        assert colours is not None and max(n for n, _ in colours) < 270 * 180


def test_coordinates_in_degrees_are_an_error_that_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = moved(setting_out(tmp_path), (0.0, 0.0), 0.001)
    assert main(["lay", str(source), "--out", str(tmp_path / "o")]) == 2
    err = capsys.readouterr().err
    assert "wall.geojson" in err and "no piece can be laid" in err and "millimetres" in err
    assert not (tmp_path / "o").exists()
