import warnings
from dataclasses import replace

import numpy as np
import pytest

from core.colour import ciede2000
from core.colour.convert import WHITES, lab_under_d65, xyz_from_lab
from core.colour.science import colour_science
from core.errors import EmblemaError
from core.material import ILLUMINANTS, Material
from core.stock.cgats import read_cgats, with_measured

HEAD = 'CGATS.17\nORIGINATOR\t"studio"\n# measured after cleaning\n'


def written(tmp_path, columns, rows, head=HEAD, separator="\t"):
    path = tmp_path / "smalti.txt"
    path.write_text(
        f"{head}NUMBER_OF_FIELDS\t{len(columns)}\nBEGIN_DATA_FORMAT\n"
        + separator.join(columns)
        + f"\nEND_DATA_FORMAT\nNUMBER_OF_SETS\t{len(rows)}\nBEGIN_DATA\n"
        + "\n".join(separator.join(map(str, row)) for row in rows)
        + "\nEND_DATA\n"
    )
    return path


LAB = ("SAMPLE_ID", "SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B")


def test_reads_lab_and_brings_it_to_d65(tmp_path):
    path = written(
        tmp_path, LAB, [(1, "SM-09", 95.19, -1.03, 2.93), (2, "deep red", 42.43, 51.05, 28.62)]
    )
    white, red = read_cgats(path)
    assert (white.id, white.name, red.name, red.line) == ("1", "SM-09", "deep red", 11)
    # The white and red of the 24-patch chart after November 2014, published for D50; against
    # colour-science's own Bradford adaptation.
    colour = colour_science()
    for found, d50 in ((white, (95.19, -1.03, 2.93)), (red, (42.43, 51.05, 28.62))):
        xyz = colour.chromatic_adaptation(
            xyz_from_lab(d50, WHITES["D50", 2]),
            WHITES["D50", 2],
            WHITES["D65", 2],
            method="Von Kries",
            transform="Bradford",
        )
        expected = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITES["D65", 2]))
        np.testing.assert_allclose(found.lab, expected, atol=0.01)
    same = read_cgats(path, illuminant="D65")
    assert same[1].lab == (42.43, 51.05, 28.62)


def test_the_file_says_what_it_was_measured_under(tmp_path):
    head = HEAD + 'MEASUREMENT_SOURCE\t"Illumination=D65\tObserverAngle=2\tWhiteBase=Abs"\n'
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], head)
    assert read_cgats(path)[0].lab == (50, 10, -20)
    head = HEAD + "ILLUMINANT A\n"
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], head)
    np.testing.assert_allclose(read_cgats(path)[0].lab, lab_under_d65((50, 10, -20), "A", 2))


def test_reads_xyz_and_names_with_blanks_or_quotes(tmp_path):
    lab = np.array([[50.0, 20.0, -10.0], [80.0, -5.0, 3.0]])
    xyz = 100 * xyz_from_lab(lab, WHITES["D50", 2])
    columns = ("SAMPLE_NAME", "XYZ_X", "XYZ_Y", "XYZ_Z")
    rows = [('"deep blue"', *xyz[0]), ('"A, 3"', *xyz[1])]
    for separator in ("\t", "  "):
        found = read_cgats(written(tmp_path, columns, rows, separator=separator))
        assert [s.name for s in found] == ["deep blue", "A, 3"]
        assert [s.id for s in found] == ["1", "2"]
        np.testing.assert_allclose([s.lab for s in found], lab_under_d65(lab, "D50", 2), atol=1e-9)


@pytest.mark.parametrize("heading", ["SPECTRAL_NM{}", "nm{}", "R_{}"])
@pytest.mark.parametrize("scale", [1, 100])
def test_reads_reflectances(tmp_path, heading, scale):
    """The chart's reflectances as colour-science publishes them (Ohta 1997)."""
    colour = colour_science()
    patches = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
    nm = np.arange(380, 731, 10)
    rows, expected = [], []
    for name, sd in patches.items():
        rows.append((f'"{name}"', *(scale * sd[float(n)] for n in nm)))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says that it aligns the spectra
            xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS["D65"]) / 100
        expected.append(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITES["D65", 2])))
    found = read_cgats(written(tmp_path, ("SAMPLE_NAME", *(heading.format(n) for n in nm)), rows))
    assert len(found) == 24
    assert ciede2000([s.lab for s in found], expected).max() < 0.5


def test_two_tables_in_one_file(tmp_path):
    one = written(tmp_path, LAB, [(1, "a", 50, 1, 2)]).read_text()
    two = written(tmp_path, ("SAMPLE_ID", *LAB[2:]), [(7, 60, 1, 2)], head="").read_text()
    path = tmp_path / "two.txt"
    path.write_text(one + two)
    assert [(s.id, s.name) for s in read_cgats(path)] == [("1", "a"), ("7", "")]


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda t: "some words\n", "names no columns"),
        (lambda t: t.replace("END_DATA\n", ""), "END_DATA is missing"),
        (lambda t: t.replace("NUMBER_OF_SETS\t2", "NUMBER_OF_SETS\t3"), "holds 2"),
        (lambda t: t.replace("LAB_L", "OTHER"), "neither"),
        (lambda t: t.replace("\t51.0", "\tfifty"), "line 11: 'fifty' is not a number"),
        (lambda t: t.replace("\t51.0", "\tnan"), "line 11"),
        (lambda t: t.replace("\t51.0", ""), "line 11: 4 values for 5"),
        (lambda t: t.replace("\t51.0", "\t510"), "line 11: L\\* would be"),
        (lambda t: t.split("NUMBER_OF_SETS")[0], "no measured colours"),
        (lambda t: t.replace("\t", " ").replace("two", '"two'), "quotation mark"),
    ],
)
def test_faults_are_named_with_their_line(tmp_path, spoil, fault):
    path = written(tmp_path, LAB, [(1, "one", 50, 1, 2), (2, "two", "51.0", 1, 2)])
    path.write_text(spoil(path.read_text()))
    with pytest.raises(EmblemaError, match=rf"smalti\.txt.*{fault}"):
        read_cgats(path)


def test_no_file_and_unknown_light(tmp_path):
    with pytest.raises(EmblemaError, match="nowhere"):
        read_cgats(tmp_path / "nowhere.txt")
    path = written(tmp_path, LAB, [(1, "a", 50, 1, 2)])
    with pytest.raises(EmblemaError, match="F11"):
        read_cgats(path, illuminant="F11")


def test_materials_take_their_measured_colour(tmp_path):
    stock = [Material(c, c, "smalti", (1.0, 2.0, 3.0), illuminant="D50") for c in ("A", "B", "C")]
    rows = [(1, "A", 50, 4, 2), (2, "A", 54, 6, 2), ("B", "no such", 30, 0, 0), (4, "Z", 9, 9, 9)]
    samples = read_cgats(written(tmp_path, LAB, rows), illuminant="D65")
    changed, unknown = with_measured(stock, samples)
    assert changed == (
        replace(stock[0], lab=(52.0, 5.0, 2.0), obtained="measured", illuminant="D65"),
        replace(stock[1], lab=(30.0, 0.0, 0.0), obtained="measured", illuminant="D65"),
    )
    assert unknown == ("Z",)


def test_whites_are_the_published_ones():
    colour = colour_science()
    names = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
    for (light, eye), white in WHITES.items():
        published = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS[names[eye]][light])
        np.testing.assert_allclose(white, published, atol=1.5e-4)
        np.testing.assert_allclose(lab_under_d65((100, 0, 0), light, eye), (100, 0, 0), atol=1e-9)
    assert {light for light, _ in WHITES} == set(ILLUMINANTS)
