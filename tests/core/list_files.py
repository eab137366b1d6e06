"""Stock lists and measurements of every form as files; `picture_files.damaged` spoils them."""

from __future__ import annotations

import random
from collections.abc import Iterator

from picture_files import DAMAGES

NM = range(400, 701, 10)


def every_list() -> dict[str, bytes]:
    """Return valid files by name: "CSV ..." and "CGATS ..."."""
    heads = "code,description,kind,finish,L,a,b,length_mm,width_mm,thickness_mm,price,pieces,waste"
    rows = "\n".join(
        f"A-{k},glass {k},smalti,matt,{40 + k},{k}.5,-2,15,10,7,96.50,{k * 10},0.1"
        for k in range(8)
    )
    plain = f"{heads}\n{rows}\n"
    supplier = (
        "Item;Name;Hex;Price;Unit;In stock;Waste\n"
        "B 7;Grün, hell;#FF0000;€ 1.234,50;m2;2.000;12,5 %\nB 8;'=Blau;#0000FF;9,10;m2;5;0,1\n"
    )
    found = {
        "CSV": plain.encode(),
        "CSV of a supplier": supplier.encode("cp1252"),
        "CSV wide signs": plain.encode("utf-16"),
        "CSV tabs": plain.replace(",", "\t").encode("utf-8-sig"),
    }

    def measured(columns: str, data: list[str], head: str = "") -> str:
        return (
            f'CGATS.17\nORIGINATOR\t"studio"\n{head}NUMBER_OF_FIELDS\t{len(columns.split())}\n'
            f"BEGIN_DATA_FORMAT\n{columns}\nEND_DATA_FORMAT\nNUMBER_OF_SETS\t{len(data)}\n"
            "BEGIN_DATA\n" + "\n".join(data) + "\nEND_DATA\n"
        )

    light = 'WEIGHTING_FUNCTION "ILLUMINANT, D65"\nWEIGHTING_FUNCTION "OBSERVER, 10 degree"\n'
    lab = measured("SAMPLE_ID\tSAMPLE_NAME\tLAB_L\tLAB_A\tLAB_B",
                   [f"{k}\tglass {k}\t{50 + k}\t{k}\t-3.25" for k in range(6)], light)  # fmt: skip
    xyz = measured("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", [f"{k} {20 + k} 25.5 3{k}.1" for k in range(6)])
    bands = measured(
        "SAMPLE_ID " + " ".join(f"SPECTRAL_PCT_{n}" for n in NM),
        [" ".join([str(k), *(str(k * 3 + n / 20) for n in NM)]) for k in range(4)],
    )
    pairs = measured(
        "\t".join(["SPECTRAL_NM", "SPECTRAL_DEC"] * len(NM)),
        ["\t".join(f"{n}\t0.{k}5" for n in NM) for k in range(3)],
    )
    for name, text in (("Lab", lab), ("XYZ", xyz), ("bands", bands), ("pairs", pairs)):
        found[f"CGATS {name}"] = text.encode()
        found[f"CGATS {name} wide signs"] = text.encode("utf-16")
    found["CGATS of two tables"] = (lab + xyz).encode("latin-1")
    return found


def _odd_word(data: bytearray, rng: random.Random, other: bytes) -> None:
    """Put something unlikely in the place of a word, as an editor or a spreadsheet might."""
    parts = bytes(data).split()
    if parts:
        words = (
            *("1e99999999", "-1e400", "nan", "inf", "9" * 80, "-0", "1_0", "=1+1", '"', "\u0663"),
            *("D75", "F11", "BEGIN_DATA", "END_DATA", "LAB_L", "SPECTRAL_NM", "1e29", "#", ";;;;"),
            *("{0}", "\u2028", "%s", "ILLUMINANT", "NUMBER_OF_SETS 99999999999999999999", ""),
        )
        old = rng.choice(parts)
        at = bytes(data).find(old)
        data[at : at + len(old)] = rng.choice(words).encode()


def damaged_lists(files: dict[str, bytes], seed: int) -> Iterator[tuple[str, bytes]]:
    """Yield list after list with some damage done to it, without end."""
    rng = random.Random(seed)
    names = sorted(files)
    while True:
        name = rng.choice(names)
        data = bytearray(files[name])
        for _ in range(rng.choice((1, 1, 1, 2))):
            other = files[rng.choice(names)]
            rng.choice((*DAMAGES, *[_odd_word] * len(DAMAGES)))(data, rng, other)
        yield name, bytes(data)
