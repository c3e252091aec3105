"""Reading scans: how many a second, beside an independent parser in the same run."""

from collections.abc import Callable
from datetime import date
from random import Random
from time import process_time

import biip

from trays.identifiers import gs1, hibc, ours
from trays.identifiers.checkdigits import mod43, with_mod10
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import read

TODAY = date(2026, 11, 24)
GTIN = "09521234000013"
ROUNDS = 300
PREFIX = "9521234"


def scans() -> dict[str, list[str]]:
    """What a hospital's shelf holds, by kind, twenty of each."""
    rng = Random(1)
    lots = [f"MF{rng.randrange(10_000):04d}{rng.choice('ABCXYZ')}" for _ in range(20)]
    whole = [gs1.build([("01", GTIN), ("17", "271130"), ("10", lot), ("21", f"S{lot}")]) for lot in lots]
    dated = [gs1.build([("01", GTIN), ("17", "271130"), ("10", lot)]) for lot in lots]
    product = "+A123BJC5D6E71"
    return {
        "GTIN, expiry, lot, serial": [f"]d2{one}" for one in whole],
        "GTIN, expiry, lot": [f"]C1{one}" for one in dated],
        "our packs": [f"]d2{ours.pack_label(PREFIX, lot, '231')}" for lot in lots],
        "our sets": [f"]d2{ours.set_label(ours.asset_type(PREFIX, '12'), lot)}" for lot in lots],
        "separators lost": [one.replace(GS, "") for one in whole],
        "Digital Link": [f"https://maker.example/01/{GTIN}/10/{lot}?17=271130" for lot in lots],
        "brackets": [f"(01){GTIN}(17)271130(10){lot}" for lot in lots],
        "HIBC": [(body := f"{product}/$$3271130{lot}") + mod43(body) for lot in lots],
        "French keyboard": [one.translate(str.maketrans("0123456789", "à&é\"'(-è_ç")) for one in dated],
        "typed text": [f"femoral component {lot}" for lot in lots],
    }


def per_second(parse: Callable[[str], object], texts: list[str]) -> float:
    """Calls a second of processor time."""
    parse(texts[0])
    begun = process_time()
    for _ in range(ROUNDS // 20):
        for text in texts:
            parse(text)
    return len(texts) * (ROUNDS // 20) / (process_time() - begun)


def theirs(text: str) -> object:
    try:
        return biip.parse(text)
    except biip.ParseError:
        return None


def test_parses_a_second() -> None:
    print()
    shelf = scans()
    for name, texts in shelf.items():
        mine, other = per_second(lambda text: read(text, today=TODAY), texts), per_second(theirs, texts)
        beside = f"{mine / other:5.1f} × biip" if name.startswith(("GTIN", "our")) else ""
        print(f"  {name:<28} {mine:10,.0f} /s   {beside}".rstrip())
    alike = [text for name, texts in shelf.items() if name.startswith(("GTIN", "our")) for text in texts]
    mine, other = per_second(lambda text: read(text, today=TODAY), alike), per_second(theirs, alike)
    print(f"  {'all that both read':<28} {mine:10,.0f} /s   {mine / other:5.1f} × biip ({other:,.0f} /s)")
    parsing, bare = per_second(lambda text: gs1.parse(text[3:]), alike), with_mod10("952123400001")
    print(f"  {'element strings alone':<28} {parsing:10,.0f} /s   {parsing / other:5.1f} × biip")
    assert read(f"]E0{bare}", today=TODAY).gtin == f"0{bare}"
    assert hibc.parse(shelf["HIBC"][0], TODAY).lot


def test_the_dearest_texts() -> None:
    print()
    for name, text in {
        "1 MB": "1" * 1_000_000,
        "300 digits, separators lost": "]d2" + ("9091929394959697989910" * 14)[:300],
        "4,000 characters": "]d2" + ("10A" + GS) * 1000,
    }.items():
        begun = process_time()
        read(text, today=TODAY)
        print(f"  {name:<28} {(process_time() - begun) * 1000:8.1f} ms")
