"""What holds of the bench whichever tool is in hand."""

from tools_rig import ESCAPE, picture


def test_a_save_leaves_the_bench_as_it_is(bench, tmp_path):
    bench.bench.show_place(30, 30, 8.0)
    view, seen = bench.bench.view, bench.bench.table
    bench.session.save(tmp_path / "panel.emblema")
    assert bench.bench.view == view and bench.bench.table is seen
    assert bench.piece_at(bench.centre(25)).area > 0


def test_every_tool_paints_while_it_works(bench):
    """What is being drawn is seen: the picture of the bench changes under each drag."""
    a, b = bench.centre(20), bench.centre(21)
    for tool, ends in {
        "Outline": ((20, 20), (70, 20)),
        "Flow line": ((10, 40), (90, 40)),
        "Size line": ((10, 40), (90, 40)),
        "Measure": ((10, 40), (90, 40)),
        "Nip": ((45, 20), (45, 60)),
        "Join": (a, b),
        "Shift": (a, (a[0] + 20, a[1] + 20)),
    }.items():
        bench.bench.take(tool)
        still = picture(bench)
        bench.hold(*ends)
        assert picture(bench) != still, tool
        bench.key(ESCAPE)
        bench.bench.take("Hand")
        bench.let_go()
    assert bench.session.undo_label is None
