"""The command line: opens the window, or does one thing without it.

Bad input ends with exit code 2 and one line that says what is wrong, a fault of the program
itself with exit code 1.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import traceback
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

from app import needs
from app.cli_figures import add_to as add_figures
from app.cli_proof import add_to as add_proof
from app.cli_quote import add_to as add_quote
from app.cli_rounds import add_to as add_rounds
from app.cli_sheets import add_to as add_sheets
from core.errors import EmblemaError
from core.files import data_folder, write_text
from core.material import ILLUMINANTS

COMMANDS = (
    "lay",
    "demo",
    "cartoon",
    "sheets",
    "keyplan",
    "proof",
    "counts",
    "figures",
    "order",
    "quote",
    "calendar",
    "match",
    "stock",
    "compare",
)
FAULTS = "fault.txt"  # in the user's data folder: the newest fault of the program's own
NAMED = 5  # lines of a list whose faults are told
_BELOW_ZERO = re.compile(r"[-\u2212](\.?\d|inf|nan)", re.IGNORECASE)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        try:
            return _run(given)
        finally:
            sys.stdout.flush()
    except EmblemaError as e:
        print(f"emblema: {' '.join(str(e).split())}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("emblema: stopped; nothing was changed.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # whoever reads has read enough
        with suppress(OSError, ValueError):  # else Python tries once more, and complains
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except ImportError as e:
        print(f"emblema: {needs.import_fault(e)}", file=sys.stderr)
        return 2
    except Exception as e:
        print(f"emblema: {_unforeseen(e)}", file=sys.stderr)
        return 1


def _run(given: list[str]) -> int:
    if not given or not (given[0] in COMMANDS or given[0].startswith("-")):
        return _window(given)
    if given[0] == "match":
        # Led by a blank it is a number to argparse too, which else takes -1e-3 for an option.
        given = [f" {word}" if _BELOW_ZERO.match(word) else word for word in given]
    chosen = _parser().parse_args(given)
    run: Callable[[argparse.Namespace], int] = chosen.run
    return run(chosen)


def _unforeseen(error: Exception) -> str:
    """Return one sentence on a fault of the program's own, with where the rest is written."""
    if isinstance(error, MemoryError):
        return "this is more than the memory of this computer holds."
    words = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    try:
        log = data_folder() / FAULTS
        write_text(log, "".join(traceback.format_exception(error)))
        where = f"details are in '{log}'"
    except (EmblemaError, OSError):
        where = "no details could be written"
    return f"a fault of Emblema itself, which is not the file's ({words}); {where}."


class _Parser(argparse.ArgumentParser):
    """Says what is wrong on one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}\n")


def _number(word: str) -> float:
    try:
        return float(word.replace("\u2212", "-"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{word.strip()}' is not a number") from None


def _whole(word: str) -> int:
    try:
        return int(word.replace("\u2212", "-"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{word.strip()}' is not a whole number") from None


def _parser() -> argparse.ArgumentParser:
    p = _Parser(
        prog="emblema",
        description="From the client's sketch to the sheets that go on the wall. Without a "
        "command, opens the window (on FILE.emblema, where one is named).",
    )
    sub = p.add_subparsers(required=True, metavar="COMMAND")

    c = sub.add_parser("lay", help="lay the fields of a GeoJSON setting out")
    c.add_argument("setting_out", type=Path, metavar="SETTING_OUT.geojson")
    c.add_argument("--out", type=Path, required=True, metavar="DIR")
    c.set_defaults(run=_lay)

    c = sub.add_parser("demo", help="lay the demo commission and write everything")
    c.add_argument("--out", type=Path, required=True, metavar="DIR")
    c.add_argument(
        "--picture",
        choices=("real", "flat"),
        default="real",
        help="whether layout.png shows the materials as they look (default) or flat colours",
    )
    c.set_defaults(run=_demo)

    c = sub.add_parser("cartoon", help="write the full-size cartoon of a commission as PDF")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="PDF")
    c.add_argument(
        "--paper",
        default="A4",
        help="A4 to A0, Letter, Tabloid, C, D, E, roll:914 (mm wide) or whole (one page)",
    )
    c.add_argument(
        "--side", choices=("front", "back"), default="front", help="from which it is seen"
    )
    c.add_argument(
        "--mirrored", dest="side", action="store_const", const="back", help="as --side back"
    )
    c.add_argument(
        "--codes",
        choices=("key", "studio"),
        default="key",
        help="the key's numbers or the studio's codes",
    )
    c.add_argument(
        "--correct",
        default="100x100",
        metavar="ACROSSxUP",
        help="what the check bars of an uncorrected print measure in mm, such as 99.6x100.2",
    )
    c.set_defaults(run=_cartoon)

    add_sheets(sub, _open, _folder)
    add_proof(sub, _open)
    add_rounds(sub, _layout)

    c = sub.add_parser("counts", help="write the counts by material of a commission as CSV")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="CSV")
    c.set_defaults(run=_counts)

    add_figures(sub, _open, _folder)
    add_quote(sub, _open)

    c = sub.add_parser("match", help="name the stocked materials nearest to a colour")
    for name in ("L", "a", "b"):
        c.add_argument(name, type=_number)
    c.add_argument("--stock", type=Path, metavar="CSV", help="the studio's stock where left out")
    c.add_argument("--count", type=_whole, default=5)
    c.set_defaults(run=_match)

    c = sub.add_parser("stock", help="the studio's stock: import, export, list")
    what = c.add_subparsers(required=True, metavar="import|export|list")
    s = what.add_parser("import", help="take in a stock list (CSV) or measured colours (CGATS)")
    s.add_argument("file", type=Path)
    unsaid = "where measurements do not say"
    s.add_argument("--light", choices=ILLUMINANTS, help=f"the light, {unsaid}")
    s.add_argument("--observer", type=int, choices=(2, 10), help=f"the observer, {unsaid}")
    s.add_argument(
        "--white", type=int, choices=(1, 100), help=f"XYZ and reflectance of white, {unsaid}"
    )
    s.set_defaults(run=_stock_import)
    s = what.add_parser("export", help="write the stock as CSV")
    s.add_argument("file", type=Path)
    s.set_defaults(run=_stock_export)
    s = what.add_parser("list", help="print the stock")
    s.set_defaults(run=_stock_list)
    return p


def _window(given: list[str]) -> int:
    file = Path(given[0]) if given else None
    if file is not None:
        if file.suffix.lower() != ".emblema" and (len(given) > 1 or not file.is_file()):
            raise EmblemaError(
                f"There is no command '{file}'. The commands are {', '.join(COMMANDS)}; "
                "'emblema FILE' opens the window."
            )
        if len(given) > 1:
            raise EmblemaError("The window opens one file at a time.")
        if not file.is_file():
            raise EmblemaError(f"There is no file '{file}'.")
    fault = needs.window_fault()
    if fault is not None:
        raise EmblemaError(fault)
    from app.window import main as open_window

    return open_window(given[0] if given else None)


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise EmblemaError(f"The folder '{path}' cannot be made: {e.strerror}.") from e
    return path


def _layout(doc: Any, images: Any, kept: Any = None) -> Any:
    from core.plan import Planner

    show = sys.stderr.isatty()

    def progress(share: float, what: str) -> None:
        if show:
            print(f"\r{100 * share:3.0f} %  {what:<50.50}", end="", file=sys.stderr, flush=True)

    planner = Planner()
    try:
        return planner.layout(doc, images, progress, kept=kept)
    finally:
        planner.close()
        if show:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr)


def _open(path: Path) -> tuple[Any, Any, Any]:
    from core import archive

    work = archive.open_work(path)
    return work.doc, work.images, _layout(work.doc, work.images, work.kept)


def _lay(a: argparse.Namespace) -> int:
    from core.export import fields_frame, write_png, write_svg, write_tesserae_csv
    from core.setting_out import read_setting_out

    doc, notes = read_setting_out(a.setting_out)
    layout = _layout(doc, {})
    frame = fields_frame(doc)
    if not len(layout):
        size = f"{frame[2] - frame[0]:.3g} x {frame[3] - frame[1]:.3g} mm"
        raise EmblemaError(
            f"'{a.setting_out.name}': no piece can be laid, since its fields, {size} in all, are "
            "too small or too narrow for their tesserae; coordinates are millimetres, not degrees "
            "or metres."
        )
    bare = [doc.field_by_id(f.field_id).name for f in layout.fields if not len(f.pieces)]
    notes += tuple(
        f"Field '{name}' is too small or too narrow for a piece; nothing is laid in it."
        for name in bare
    )
    out = _folder(a.out)
    write_tesserae_csv(out / "tesserae.csv", doc, layout)
    write_svg(out / "layout.svg", doc, layout, frame)
    write_png(out / "layout.png", doc, layout, frame=frame)
    for note in notes:
        print(note, file=sys.stderr)
    print(f"{len(layout):,} tesserae in {out}")
    return 0


def _demo(a: argparse.Namespace) -> int:
    from app.painting import write_cartoon_pdf
    from core import archive
    from core.export import write_png, write_svg, write_tesserae_csv
    from core.figures import write_counts_csv
    from core.look.light import STANDARD
    from core.plan import with_colours
    from core.resources import asset

    doc, images, layout = _open(asset("demo/heron.emblema"))
    out = _folder(a.out)
    archive.save(out / "heron.emblema", doc, images, with_colours(doc, layout))
    write_tesserae_csv(out / "tesserae.csv", doc, layout)
    write_counts_csv(out / "counts.csv", doc, layout)
    write_cartoon_pdf(out / "cartoon.pdf", doc, layout)
    write_svg(out / "layout.svg", doc, layout)
    write_png(out / "layout.png", doc, layout, light=STANDARD if a.picture == "real" else None)
    print(f"{doc.title}: {len(layout):,} tesserae in {out}")
    return 0


def _cartoon(a: argparse.Namespace) -> int:
    from app.painting import write_cartoon_pdf
    from core.paper.printer import correction_of
    from core.paper.sizes import paper_of

    paper, correction = paper_of(a.paper).word, correction_of(a.correct)
    doc, _, layout = _open(a.file)
    write_cartoon_pdf(a.out, doc, layout, paper, a.side == "back", a.codes, correction)
    print(f"{len(layout):,} tesserae drawn in {a.out}")
    return 0


def _counts(a: argparse.Namespace) -> int:
    from core.figures import write_counts_csv

    doc, _, layout = _open(a.file)
    write_counts_csv(a.out, doc, layout)
    print(f"{len(layout):,} tesserae counted in {a.out}")
    return 0


def _match(a: argparse.Namespace) -> int:
    import numpy as np

    from core.colour.matching import differences
    from core.colour.wanted import stocked_lab

    if not (0 <= a.L <= 100 and abs(a.a) <= 160 and abs(a.b) <= 160):
        raise EmblemaError("A colour is L* from 0 to 100, a* and b* from -160 to 160.")
    if a.count < 1:
        raise EmblemaError("Ask for one material or more.")
    stock = _list(a.stock) if a.stock else _studio(_offered)
    if not stock:
        raise EmblemaError("There is no material to choose from: the stock is empty.")
    off = differences([[a.L, a.a, a.b]], stocked_lab(stock))[0]
    for k in np.argsort(off, kind="stable")[: a.count]:
        m = stock[int(k)]
        lab = "  ".join(f"{v:7.2f}" for v in m.lab)
        print(f"{m.code:<10} {lab}  {off[k]:6.2f}  {m.said}")
    return 0


def _offered(store: Any) -> Any:
    """Return the materials of a stock, and the lots of their own colour that are not used up."""
    return [m for m in store.offered() if m.lot is None or m.pieces]


def _list(path: Path, stocked: Any = None) -> Any:
    from core.stock.lists import read_stock_csv

    materials, refused = read_stock_csv(path, stocked)
    if refused:  # all or none: nobody is asked here whether the rest will do
        why = " ".join(f"Line {r.line}: {r.why}" for r in refused[:NAMED])
        more = f" Nor can {len(refused) - NAMED:,} more." if len(refused) > NAMED else ""
        raise EmblemaError(f"'{path.name}' cannot be taken: l{why[1:]}{more}")
    if not materials:
        raise EmblemaError(f"The stock list '{path.name}' holds no materials.")
    return materials


def _studio(ask: Callable[[Any], Any]) -> Any:
    from core.stock.store import StockStore

    with StockStore() as store:
        return ask(store)


def _stock_import(a: argparse.Namespace) -> int:
    from core.stock.cgats import UnknownScale, is_cgats, read_cgats, with_measured

    if not is_cgats(a.file):
        new, changed = _studio(lambda store: store.take_list(lambda now: _list(a.file, now)))
        print(f"{new} new materials, {changed} changed")
        return 0
    try:
        found = read_cgats(a.file, a.light, a.observer, a.white)
    except UnknownScale as e:
        raise EmblemaError(f"{e} Say which by --white 1 or --white 100.") from e
    for note in found.notes:
        print(note, file=sys.stderr)
    unknown: tuple[str, ...] = ()

    def measured(stocked: Any) -> Any:
        nonlocal unknown
        materials, unknown = with_measured(stocked.values(), found.samples)
        return materials

    _, count = _studio(lambda store: store.take_list(measured))
    print(f"{count} materials given their measured colour")
    for name in unknown:
        print(f"'{name}' is no material's code; it was left out", file=sys.stderr)
    return 0


def _stock_export(a: argparse.Namespace) -> int:
    from core.stock.lists import write_stock_csv

    materials = _studio(lambda store: store.materials())
    write_stock_csv(a.file, materials)
    print(f"{len(materials)} materials in {a.file}")
    return 0


def _stock_list(a: argparse.Namespace) -> int:
    for m in _studio(lambda store: store.materials()):
        print(f"{m.code:<10} {m.pieces:>7,}  {m.kind:<11} {m.finish:<12} {m.said}")
    return 0
