"""Every kind of label, at every head, as either symbol, is read by two decoders; also a little spoiled.

The results are printed as a table (``pytest -s``); what is not read is listed here by name.
"""

from collections import defaultdict

import numpy
import pytest
import zxingcpp

from tests.trays.labels.samples import ALL
from tests.trays.symbols import decoders, rendering
from tests.trays.symbols.rendering import Dots
from trays.identifiers import gs1, ours
from trays.labels import queries  # noqa: F401  brings the kinds of labels
from trays.labels.kinds import Label, LabelKind
from trays.labels.setup import setup_named
from trays.labels.writer import LabelWriter
from trays.symbols.payload import Carrier

# The stock that each kind is read from: with copies that peel off, whose symbols are the smallest.
STOCK = {LabelKind.PACK: "pack-roll", LabelKind.INSTRUMENT: "pack-roll"}
CARRIERS = {Carrier.MATRIX: "DataMatrix", Carrier.LINEAR: "Code128"}
# (kind, dpi, symbol, spoiled or not, decoder): known not to be read, with the reason beside it.
EXCEPTIONS: set[tuple[str, int, str, str, str]] = set()


def drawn(label: Label, dpi: int, carrier: Carrier) -> tuple[bytes, float]:
    """The label's page, and the dots of its finest module."""
    stock = STOCK.get(label.kind, "roll") if carrier is Carrier.MATRIX else "roll"
    writer = LabelWriter(setup_named(f"{stock}-{dpi}", carrier=carrier))
    assert writer.add(label) is None
    finest = min(x for _linear, x, _quiet in writer.symbols)
    return writer.pdf(), finest * dpi / 25.4


def symbols(page: Dots, carrier: Carrier, module: float) -> list[Dots]:
    """Each symbol of the kind on a page, with the white around it that it is due."""
    form = "DataMatrix" if carrier is Carrier.MATRIX else "Code128"
    cut = []
    for found in zxingcpp.read_barcodes(numpy.ascontiguousarray(page)):
        if form.casefold() not in str(found.format).casefold().replace(" ", ""):
            continue
        at = found.position
        corners = (at.top_left, at.top_right, at.bottom_left, at.bottom_right)
        xs, ys = [corner.x for corner in corners], [corner.y for corner in corners]
        white = round(module * (2 if carrier is Carrier.MATRIX else 10))
        deep = white if carrier is Carrier.MATRIX else 0
        top, left = max(0, min(ys) - deep), max(0, min(xs) - white)
        cut.append(page[top : max(ys) + deep + 1, left : max(xs) + white + 1])
    return [numpy.pad(one, round(4 * module), constant_values=255) for one in cut]


Results = dict[tuple[str, str], list[bool]]


def read_all(dpi: int, carrier: Carrier) -> Results:
    second = decoders.libdmtx if carrier is Carrier.MATRIX else decoders.zbar
    readers = {"zxing-cpp": decoders.zxing, second.__name__: second}
    results: Results = defaultdict(list)
    for kind in LabelKind:
        label = ALL[kind][0]
        pdf, module = drawn(label, dpi, carrier)
        pages = {
            "zxing-cpp": rendering.pages(pdf, dpi),
            second.__name__: decoders.by_poppler(pdf, dpi),
        }
        for name, reader in readers.items():
            cut = [one for page in pages[name] for one in symbols(page, carrier, module)]
            assert cut, f"{kind} has no {carrier} on it"
            bad = [decoders.spoiled(one, module) for one in cut]
            for how, pictures in (("clean", cut), ("spoiled", bad)):
                results[kind.value, f"{name} {how}"] = [reader(one) == label.payload for one in pictures]
    return results


def table(dpi: int, carrier: Carrier, results: Results) -> str:
    heads = list(dict.fromkeys(head for _kind, head in results))
    lines = [f"\n{carrier} at {dpi} dpi" + "".join(f"  {head:>18}" for head in heads)]
    for kind in LabelKind:
        cells = [results[kind.value, head] for head in heads]
        lines.append(f"  {kind.value:<19}" + "".join(f"  {sum(c):>15}/{len(c)}" for c in cells))
    return "\n".join(lines)


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("carrier", list(Carrier))
def test_two_decoders_read_each_kind_of_label_clean_and_a_little_spoiled(carrier: Carrier, dpi: int) -> None:
    decoders.need_second_decoder()
    results = read_all(dpi, carrier)
    print(table(dpi, carrier, results))  # noqa: T201
    unread = {
        (kind, dpi, carrier.value, *reversed(head.split()))
        for (kind, head), read in results.items()
        if not all(read)
    }
    known = {one for one in EXCEPTIONS if one[1] == dpi and one[2] == carrier.value}
    assert unread == known


@pytest.mark.parametrize("kind", list(LabelKind))
def test_what_is_read_leads_back_to_the_key_that_the_label_was_made_from(kind: LabelKind) -> None:
    for label in ALL[kind]:
        parsed = gs1.parse(label.payload)
        assert not [fault for fault in parsed.faults if fault.stops]
        assert gs1.build((one.ai, one.value) for one in parsed.elements) == label.payload
        keys = {one.ai for one in parsed.elements}
        if keys & ours.ASSET_AIS:
            assert not keys & ours.NEVER_BESIDE_ASSETS
