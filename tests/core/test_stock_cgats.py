import warnings
from dataclasses import replace

import numpy as np
import pytest

from core.colour import ciede2000
from core.colour.convert import WHITES, lab_under_d65, xyz_from_lab
from core.colour.science import colour_science
from core.errors import EmblemaError
from core.material import ILLUMINANTS, Material
from core.stock.cgats import UnknownScale, is_cgats, read_cgats, with_measured

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
    white, red = read_cgats(path).samples
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
    assert same.samples[1].lab == (42.43, 51.05, 28.62)


def test_the_file_says_what_it_was_measured_under(tmp_path):
    head = HEAD + 'MEASUREMENT_SOURCE\t"Illumination=D65\tObserverAngle=2\tWhiteBase=Abs"\n'
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], head)
    assert read_cgats(path).samples[0].lab == (50, 10, -20)


@pytest.mark.parametrize(
    ("head", "light", "eye"),
    [
        ("ILLUMINANT A\n", "A", 2),
        # CGATS.17: name and value divided by a comma, pairs by a semicolon, or each on its line
        ('WEIGHTING_FUNCTION "ILLUMINANT, D65"\nWEIGHTING_FUNCTION "OBSERVER, 10 degree"\n',
         "D65", 10),
        ('WEIGHTING_FUNCTION "OBSERVER, 10 degree"\nWEIGHTING_FUNCTION "ILLUMINANT, D65"\n',
         "D65", 10),
        ('WEIGHTING_FUNCTION "ILLUMINANT,D55;OBSERVER,2 degree"\n', "D55", 2),
        ('KEYWORD "ILLUMINANT"\nILLUMINANT "D50/10"\n', "D50", 10),
        # what colours were computed for goes before what the instrument shone on the sample
        ('MEASUREMENT_SOURCE "Illumination=Tungsten ObserverAngle=10"\n'
         'WEIGHTING_FUNCTION "ILLUMINANT, C"\n', "C", 10),
        ('MEASUREMENT_SOURCE "Illumination=D55 ObserverAngle=1931"\n', "D55", 2),
        ('ILLUMINANT_NAME D65\nOBSERVER "CIE 1964"\nILLUMINATION_ANGLE 45\n', "D65", 10),
    ],
)  # fmt: skip
def test_light_and_observer_are_kept_however_they_are_written(tmp_path, head, light, eye):
    read = read_cgats(written(tmp_path, LAB, [(1, "x", 50, 10, -20)], HEAD + head))
    np.testing.assert_allclose(read.samples[0].lab, lab_under_d65((50, 10, -20), light, eye))
    assert light in ("A", "D65") or read.notes == ()


def test_light_may_stand_in_a_column(tmp_path):
    columns = (*LAB, "ILLUMINANT", "OBSERVER")
    path = written(tmp_path, columns, [(1, "x", 50, 10, -20, "A", "10")])
    read = read_cgats(path)
    np.testing.assert_allclose(read.samples[0].lab, lab_under_d65((50, 10, -20), "A", 10))
    path = written(tmp_path, columns, [(1, "x", 5, 1, 2, "A", "2"), (2, "y", 5, 1, 2, "C", "2")])
    with pytest.raises(EmblemaError, match="two different things of the light: A and C"):
        read_cgats(path)


@pytest.mark.parametrize(
    ("head", "fault"),
    [
        ('WEIGHTING_FUNCTION "ILLUMINANT, F11"\n', "'F11', which is none of the lights"),
        ("ILLUMINANT D75\n", "'D75'"),
        ("ILLUMINANT 5000K\n", "'5000K'"),
        ("ILLUMINANT {0}\n", "'{0}'"),
        ('MEASUREMENT_SOURCE "Illumination=Tungsten"\n', "'Tungsten'"),
        ("ILLUMINANT D65\nOBSERVER 4\n", "observer '4'"),
        ("ILLUMINANT D65\nOBSERVER mine\n", "observer 'mine'"),
        ("ILLUMINANT D65\nILLUMINANT D50\n", "two different things of the light: D50 and D65"),
        ('ILLUMINANT D50/2\nWEIGHTING_FUNCTION "OBSERVER, 10"\n', "of the observer: 10 and 2"),
    ],
)
def test_a_light_or_observer_that_is_not_known_is_refused(tmp_path, head, fault):
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], HEAD + head)
    with pytest.raises(EmblemaError, match=rf"smalti\.txt.*{fault}"):
        read_cgats(path)
    with pytest.raises(EmblemaError, match=fault):  # nor is it overruled
        read_cgats(path, illuminant="D50", observer=2)


def test_what_a_file_does_not_say_is_told(tmp_path):
    read = read_cgats(written(tmp_path, LAB, [(1, "x", 50, 10, -20)]))
    (note,) = read.notes
    assert "under which light" in note and "D50 and 2 degrees taken" in note
    np.testing.assert_allclose(read.samples[0].lab, lab_under_d65((50, 10, -20), "D50", 2))
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], HEAD + "ILLUMINANT unknown\n")
    assert read_cgats(path, illuminant="A").samples[0].lab == pytest.approx(
        lab_under_d65((50, 10, -20), "A", 2)
    )
    path = written(tmp_path, LAB, [(1, "x", 50, 10, -20)], HEAD + "ILLUMINANT D65\n")
    (note,) = read_cgats(path).notes
    assert "for which observer" in note and "light" not in note
    assert read_cgats(path, observer=2).notes == ()


def test_two_tables_each_have_their_own_light(tmp_path):
    heads = ("ILLUMINANT D65\nOBSERVER 2\n", "ILLUMINANT A\n", "")
    text = "".join(
        written(tmp_path, LAB, [(k, "x", 50, 10, -20)], head).read_text()
        for k, head in enumerate(heads)
    )
    path = tmp_path / "three.txt"
    path.write_text(text)
    labs = [s.lab for s in read_cgats(path).samples]
    assert labs[0] == (50, 10, -20)
    # what the second does not say stands in the head above it
    for lab in labs[1:]:
        np.testing.assert_allclose(lab, lab_under_d65((50, 10, -20), "A", 2))


def test_reads_xyz_and_names_with_blanks_or_quotes(tmp_path):
    lab = np.array([[50.0, 20.0, -10.0], [80.0, -5.0, 3.0]])
    xyz = 100 * xyz_from_lab(lab, WHITES["D50", 2])
    columns = ("SAMPLE_NAME", "XYZ_X", "XYZ_Y", "XYZ_Z")
    rows = [('"deep blue"', *xyz[0]), ('"A, 3"', *xyz[1])]
    for separator in ("\t", "  "):
        read = read_cgats(written(tmp_path, columns, rows, separator=separator))
        found = read.samples
        assert "Y 100 taken for white" in read.notes[1] and "L* 80.0" in read.notes[1]
        assert [s.name for s in found] == ["deep blue", "A, 3"]
        assert [s.id for s in found] == ["1", "2"]
        np.testing.assert_allclose([s.lab for s in found], lab_under_d65(lab, "D50", 2), atol=1e-9)


def chart():
    """The chart's reflectances as colour-science publishes them (Ohta 1997), and their colours."""
    colour = colour_science()
    patches = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
    expected = []
    for sd in patches.values():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says that it aligns the spectra
            xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS["D65"]) / 100
        expected.append(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITES["D65", 2])))
    return [[sd[float(n)] for n in NM] for sd in patches.values()], expected


NM = np.arange(380, 731, 10)


@pytest.mark.parametrize(
    ("heading", "head", "white", "scale"),
    [
        ("SPECTRAL_NM{}", "", 1, 1),
        ("nm{}", "", 100, 100),
        ("R_{}", "", 1, 1),
        ("SPECTRAL_PCT_{}", "", None, 100),
        ("SPECTRAL_DEC{}", "", None, 1),
        ("SPEC_{}", 'SPECTRAL_NORM "100.000000"\n', None, 100),
        ("SPEC_{}", 'SPECTRAL_NORM "1"\n', 100, 1),  # what the file says stands
        ("SPECTRAL_NM", "", None, 100),  # the standard's pairs
    ],
)
def test_reads_reflectances(tmp_path, heading, head, white, scale):
    spectra, expected = chart()
    columns = [heading.format(n) for n in NM]
    rows = [[scale * v for v in row] for row in spectra]
    if heading == "SPECTRAL_NM":
        columns = ["SPECTRAL_NM", "SPECTRAL_PCT"] * len(NM)
        rows = [[v for pair in zip(NM, row, strict=True) for v in pair] for row in rows]
    path = written(tmp_path, columns, rows, HEAD + head)
    read = read_cgats(path, white=white)
    assert ciede2000([s.lab for s in read.samples], expected).max() < 0.5
    assert read.notes == () and len(read.samples) == 24


def test_the_scale_is_never_told_by_the_largest_value(tmp_path):
    """A glass that gives back 0.9 per cent at every wavelength: Y 0.9, so L* 8.13 (CIE 15)."""
    columns = ("SAMPLE_NAME", *(f"SPECTRAL_NM{n}" for n in NM))
    path = written(tmp_path, columns, [("black", *[0.9] * len(NM))])
    with pytest.raises(UnknownScale, match=r"smalti\.txt.*shares.*L\* 96\.0.*per cent.*8\.1") as e:
        read_cgats(path)
    assert e.value.lightest[100] == pytest.approx(903.3 * 0.009, abs=0.01)
    assert read_cgats(path, white=100).samples[0].lab[0] == pytest.approx(8.13, abs=0.01)
    path = written(tmp_path, ("XYZ_X", "XYZ_Y", "XYZ_Z"), [(0.868, 0.9, 0.743)])
    with pytest.raises(UnknownScale, match=r"XYZ are shares.*L\* 96\.0.*per cent.*8\.1"):
        read_cgats(path)
    assert read_cgats(path, white=100).samples[0].lab == pytest.approx((8.13, 0, 0), abs=0.05)
    assert read_cgats(path, white=1).samples[0].lab[0] == pytest.approx(96.0, abs=0.05)


def test_scales_that_cannot_be_are_refused(tmp_path):
    bands = tuple(f"nm{n}" for n in NM)
    path = written(tmp_path, bands, [[50] * len(NM)])
    with pytest.raises(EmblemaError, match=r"line 10: a reflectance would be 5000 %"):
        read_cgats(path, white=1)
    with pytest.raises(EmblemaError, match="SPECTRAL_NORM is '7'"):
        read_cgats(written(tmp_path, bands, [[50] * len(NM)], HEAD + "SPECTRAL_NORM 7\n"))
    mixed = (*(f"SPECTRAL_PCT{n}" for n in NM[:-1]), "SPECTRAL_DEC730")
    with pytest.raises(EmblemaError, match="PCT and DEC"):
        read_cgats(written(tmp_path, mixed, [[50] * len(NM)]))
    for some in (NM[3:], NM[::3], NM[:-5]):
        columns = tuple(f"SPECTRAL_PCT{n}" for n in some)
        with pytest.raises(EmblemaError, match="from 400 nm or less to 700 nm or more"):
            read_cgats(written(tmp_path, columns, [[50] * len(some)]))
    xyz = written(tmp_path, ("XYZ_X", "XYZ_Y", "XYZ_Z"), [(1, 2, 3)], "NORMALIZED_TO_Y_100 NO\n")
    with pytest.raises(EmblemaError, match="cannot be known"):
        read_cgats(xyz)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1", "cp1252"])
def test_reads_the_usual_encodings(tmp_path, encoding):
    path = written(tmp_path, LAB, [(1, "vert fonc\u00e9", 50, 1, 2)])
    path.write_bytes(path.read_text(encoding="utf-8").encode(encoding))
    assert is_cgats(path)
    assert read_cgats(path).samples[0].name == "vert fonc\u00e9"


def test_two_tables_in_one_file(tmp_path):
    one = written(tmp_path, LAB, [(1, "a", 50, 1, 2)]).read_text()
    two = written(tmp_path, ("SAMPLE_ID", *LAB[2:]), [(7, 60, 1, 2)], head="").read_text()
    path = tmp_path / "two.txt"
    path.write_text(one + two)
    assert [(s.id, s.name) for s in read_cgats(path).samples] == [("1", "a"), ("7", "")]


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda t: "some words\n", "names no columns"),
        (lambda t: t.replace("END_DATA\n", ""), "END_DATA is missing"),
        (lambda t: t.replace("NUMBER_OF_SETS\t2", "NUMBER_OF_SETS\t3"), "holds 2"),
        (lambda t: t.replace("LAB_L", "OTHER"), "neither"),
        (lambda t: t.replace("\t51.0", "\tfifty"), "line 11: 'fifty' is not a number"),
        (lambda t: t.replace("\t51.0", "\tnan"), "line 11: 'nan' is not a number"),
        (lambda t: t.replace("\t51.0", "\t1e99999999"), "line 11: '1e99999999' is not a number"),
        (lambda t: t.replace("\t51.0", "\t5_1"), "line 11: '5_1' is not a number"),
        (lambda t: t.replace("\t51.0\t1", "\t51.0\t9e29"), "line 11: L.* would be -1e"),
        (lambda t: t.replace("\t51.0", ""), "line 11: 4 values for 5"),
        (lambda t: t.replace("\t51.0", "\t510"), "line 11: L\\*, a\\*, b\\* would be 510"),
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
    samples = read_cgats(written(tmp_path, LAB, rows), illuminant="D65").samples
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
