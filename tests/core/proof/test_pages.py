"""The proof's pages tell the truth of the work: its true size, its materials, its price."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from PIL import Image, ImageCms
from plan_rig import bands, laid
from skimage.color import deltaE_ciede2000, rgb2lab

from core import archive
from core.commission import Rates
from core.drawing import Picture, Text
from core.errors import EmblemaError
from core.figures import figures
from core.kept_rounds import with_round
from core.look.render import Scene
from core.proof import made, samples
from core.proof.asked import PRICES, InPlace, Proof
from core.proof.care import care_of
from core.proof.pages import finest_place, proof_pages, seen_in_place
from core.proof.photograph import import_photograph
from core.typed import to_json

TOLD = made.told_of(date(2027, 3, 5), None)


@pytest.fixture(scope="module")
def work():
    rates = Rates(hour=Decimal(31), margin=0.2, tax=0.19)
    doc = replace(bands(), title="Three bands", studio="A studio", currency="EUR", rates=rates)
    layout = laid(doc)
    return doc, layout, made.drawn(doc, Scene(doc, layout))


def words(page) -> list[str]:
    return [i.words for i in page.items if isinstance(i, Text)]


def pictures(page) -> list[Picture]:
    return [i for i in page.items if isinstance(i, Picture)]


def test_all_that_the_client_needs_is_on_the_pages(work):
    doc, layout, drawn = work
    pages = proof_pages(doc, layout, {}, drawn, TOLD)
    said = " ".join(w for page in pages for w in words(page))
    f = figures(doc, layout)
    for one in ("Three bands", "A studio", "2027-03-05", "150 × 60 mm", f"{f.pieces:,} pieces",
                f"{f.total_kg:.1f} kg", f"{f.quote:,.2f} EUR", "Signed"):  # fmt: skip
        assert one in said
    for c in f.counts:
        assert c.material.description.split(",")[0] in said
    for page in pages:
        for item in page.items:
            if isinstance(item, Text):
                assert 0 < item.y_mm < page.height_mm
                assert 0 < item.x_mm < page.width_mm
            elif isinstance(item, Picture):
                assert item.x_mm >= 0
                assert item.y_mm >= 0
                assert item.x_mm + item.width_mm <= page.width_mm
                assert item.y_mm + item.height_mm <= page.height_mm


@pytest.mark.parametrize("price", PRICES)
def test_the_price_is_shown_as_the_studio_wishes_and_adds_up(work, price):
    doc, layout, drawn = work
    doc = replace(doc, proof=Proof(price=price))
    said = words(proof_pages(doc, layout, {}, drawn, TOLD)[-1])
    amounts = [Decimal(w.removesuffix(" EUR").replace(",", "")) for w in said if "EUR" in w]
    total = figures(doc, layout).quote
    if price == "none":
        assert not amounts
        assert "The price" not in said
    elif price == "total":
        assert amounts == [total]
    else:
        assert sum(amounts[:-1]) == amounts[-1] == total


def test_the_part_at_its_true_size_is_true(work):
    doc, layout, drawn = work
    page = proof_pages(doc, layout, {}, drawn, TOLD)[2]
    part = pictures(page)[0]
    assert part.width_mm == 150.0  # the whole width of this work: one mm of paper is one of work
    assert part.height_mm == 60.0
    assert part.pixels.shape[1] / part.width_mm == pytest.approx(300 / 25.4, abs=0.01)


def test_the_finest_place_has_most_pieces(work):
    doc, layout, _ = work
    size, part = (doc.width_mm, doc.height_mm), (40.0, 40.0)
    x, y = finest_place(layout, part, size)
    centres = np.concatenate([f.pieces.centre_mm for f in layout.fields])

    def inside(x: float, y: float) -> int:
        return int((np.abs(centres - (x, y)) <= 20).all(1).sum())

    some = [inside(u, v) for u in np.arange(20, 131, 10) for v in np.arange(20, 41, 10)]
    assert inside(x, y) >= np.percentile(some, 75)


def test_samples_have_the_colours_of_their_materials(work):
    doc, _, _ = work
    plain = [m for m in doc.materials if m.finish in ("matt", "polished") and not m.by_choice][:6]
    shown = samples.samples(doc, plain, 6.0)
    pitch = 6.0 * (samples.TESSERA_MM + samples.JOINT_MM)
    for m, pixels in zip(plain, shown, strict=True):
        faces = [
            pixels[int((j + 0.2) * pitch) : int((j + 0.8) * pitch),
                   int((i + 0.2) * pitch) : int((i + 0.8) * pitch)].reshape(-1, 3)
            for i in range(samples.ACROSS) for j in range(samples.DOWN)
        ]  # fmt: skip
        seen = np.concatenate(faces) / 255.0
        linear = np.where(seen <= 0.04045, seen / 12.92, ((seen + 0.055) / 1.055) ** 2.4).mean(0)
        encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
        assert deltaE_ciede2000(rgb2lab(encoded), np.array(m.lab)) < 4  # of 12 pieces, not of all


def test_care_is_told_by_what_it_is_made_of():
    stone, glass = " ".join(care_of(["marble"])), " ".join(care_of(["vitreous"]))
    assert "etches" in stone
    assert "etches" not in glass
    assert "Gold" in " ".join(care_of(["gold glass"]))
    assert "Gold" in " ".join(care_of(["smalti"], ["metallic"]))
    assert "Gold" not in glass


def photograph() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (190, 180, 170)).save(out, "JPEG", quality=95)
    return out.getvalue()


def test_a_photograph_of_the_wall_travels_in_the_file_and_in_rounds(work, tmp_path):
    doc, layout, drawn = work
    place, images = import_photograph(photograph(), (doc.width_mm, doc.height_mm))
    hung = replace(doc, in_place=place)
    rounds = with_round((), hung, layout, "first", "2027-03-05")
    archive.save(tmp_path / "w.emblema", doc, images, layout.kept, rounds)
    opened = archive.open_work(tmp_path / "w.emblema")
    assert opened.doc.in_place is None
    assert opened.rounds[0].doc.in_place == place
    assert opened.images == images
    archive.save(tmp_path / "w.emblema", hung, images)
    assert archive.open_work(tmp_path / "w.emblema").doc == hung
    seen = seen_in_place(hung, images, drawn)
    assert seen.shape == (480, 640, 3)
    with pytest.raises(EmblemaError, match="photograph of the wall"):
        archive.save(tmp_path / "w.emblema", hung, {})
    told = made.told_of(date(2027, 4, 1), rounds[0])
    assert (told.day, told.round) == ("2027-03-05", "Round 1, first")


def test_another_photograph_keeps_what_was_chosen_of_the_wall():
    first, _ = import_photograph(photograph(), (600.0, 400.0))
    chosen = replace(first, wall="dark", figure=False, floor_mm=100.0)
    second, _ = import_photograph(photograph(), (600.0, 400.0), chosen)
    assert (second.wall, second.figure, second.floor_mm) == ("dark", False, 100.0)
    with pytest.raises(EmblemaError, match=r"photograph"):
        import_photograph(b"no picture", (600.0, 400.0))


def test_a_work_without_a_proof_of_its_own_is_kept_as_before(work):
    doc, _, _ = work
    assert not {"proof", "in_place"} & set(to_json(doc))


def test_the_picture_has_the_profile_of_its_colours(tmp_path):
    pixels = np.zeros((4, 6, 3), np.uint8)
    made.write_picture(tmp_path / "p.png", pixels)
    with Image.open(tmp_path / "p.png") as image:
        assert image.size == (6, 4)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
    assert "sRGB" in ImageCms.getProfileDescription(profile)


@pytest.mark.parametrize(
    ("proof", "place", "fault"),
    [
        (Proof(price="all"), None, "price"),
        (Proof(light_high_deg=1), None, "height of the light"),
        (Proof(words="\x00"), None, "words to the client"),
        (Proof(), InPlace("x", ((0, 0), (1, 1), (1, 0), (0, 1))), "four corners"),
        (Proof(), InPlace("x", ((0, 0), (9, 0), (9, 9), (0, 9)), wall="pink"), "wall"),
        (Proof(), InPlace("x", ((0, 0), (9, 0), (9, 9), (0, 9)), room_light=2), "room"),
    ],
)
def test_what_cannot_be_shown_is_refused_in_words(work, tmp_path, proof, place, fault):
    doc = replace(work[0], proof=proof, in_place=place)
    archive.save(tmp_path / "w.emblema", doc, {"x": b"y"})
    with pytest.raises(EmblemaError, match=fault):
        archive.open_work(tmp_path / "w.emblema")
