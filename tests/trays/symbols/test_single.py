"""One symbol by itself: the picture for a page and the page for a printer say the same, exactly."""

import re

import numpy
import pytest

from tests.trays.symbols import rendering
from trays.identifiers import gs1, ours
from trays.symbols.payload import Carrier, PayloadRefused
from trays.symbols.picture import page_png
from trays.symbols.single import symbol_pdf, symbol_svg

PAYLOAD = gs1.build([("01", ours.gtin("9521234", "104")), ("17", "280531"), ("10", "MF2604K")])
IDENTIFIERS = {Carrier.MATRIX: "]d2", Carrier.LINEAR: "]C1"}


def painted(svg: str, module: int = 4) -> rendering.Dots:
    """The picture as a browser paints it: the boxes of its black path, so many dots a module."""
    found = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    assert found is not None
    dots = numpy.full((int(found[2]) * module, int(found[1]) * module), 255, numpy.uint8)
    black = svg[svg.index('fill="#000" d="') :]
    for x, y, wide, high in re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-\d+z", black):
        left, top = int(x) * module, int(y) * module
        dots[top : top + int(high) * module, left : left + int(wide) * module] = 0
    return dots


@pytest.mark.parametrize("carrier", list(Carrier))
def test_the_picture_reads_as_the_payload_with_its_quiet_zone_inside(carrier: Carrier) -> None:
    seen = rendering.read_alone(painted(symbol_svg(PAYLOAD, carrier=carrier)))
    assert (seen.identifier, seen.text) == (IDENTIFIERS[carrier], PAYLOAD)


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("carrier", list(Carrier))
def test_the_page_reads_as_the_payload_at_every_head(carrier: Carrier, dpi: int) -> None:
    pdf = symbol_pdf(PAYLOAD, carrier=carrier, dpi=dpi, title="Scanner test")
    (page,) = rendering.pages(pdf, dpi)
    assert rendering.read_alone(page).text == PAYLOAD
    text = " ".join(rendering.texts(pdf)[0].split())
    assert "Scanner test" in text and "(10)MF2604K" in text
    assert page_png(pdf, dpi).startswith(b"\x89PNG")


def test_words_of_the_picture_are_escaped() -> None:
    assert "<title>a &lt;b&gt; &amp; c</title>" in symbol_svg(PAYLOAD, title="a <b> & c")


def test_what_breaks_a_rule_has_no_picture_and_no_page() -> None:
    long = gs1.build([("01", ours.gtin("9521234", "104")), ("10", "A" * 20), ("21", "B" * 20)])
    for make in (symbol_svg, symbol_pdf):
        with pytest.raises(PayloadRefused):
            make("")
        with pytest.raises(PayloadRefused, match="48"):
            make(long, carrier=Carrier.LINEAR)


def test_a_date_without_a_day_is_read_but_never_printed() -> None:
    with pytest.raises(PayloadRefused, match="no day"):
        symbol_svg("0109521234001041" + "17280500")
