"""HIBC supplier labels: primary, secondary, and both in one symbol.

Source: ANSI/HIBC 2, the HIBCC Supplier Labeling Standard. What stands after the primary's data is read in
``hibc_data.py``.
"""

from dataclasses import dataclass, replace
from datetime import date
from enum import Enum

from trays.identifiers import hibc_data
from trays.identifiers.checkdigits import HIBC_SET, is_digits, mod43
from trays.identifiers.dates import CodedDate
from trays.identifiers.hibc_data import BadLabel, Data
from trays.identifiers.told import Fault, Words, gettext_noop, words

__all__ = ["MOST_PRODUCT", "BadLabel", "Form", "Label", "bare", "join", "parse"]

MOST_PRODUCT = 18


class Form(Enum):
    """Which label was scanned."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    COMBINED = "combined"


@dataclass(frozen=True, slots=True)
class Label:
    """What an HIBC label says. ``link`` ties a secondary to the primary with that check character.

    ``others`` are parts of kinds that are not read here; ``faults`` are warnings.
    """

    form: Form
    check: str
    labeler: str = ""
    product: str = ""
    unit: str = ""
    link: str = ""
    lot: str | None = None
    serial: str | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    quantity: int | None = None
    others: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def device(self) -> str:
        """The device identifier: labeler, product and unit of measure, as coded."""
        return self.labeler + self.product + self.unit


def bare(text: str) -> str:
    """The label without the asterisks round its printed text, and with blanks where ``_`` stands for one.

    The mark for a blank can only be the check character or the link before it.
    """
    inner = text[1:-1] if len(text) > 2 and text[0] == text[-1] == "*" else text
    return inner[:-2] + inner[-2:].replace("_", " ")


def parse(text: str, today: date) -> Label:
    """Read one label: ``+`` to check character. Asterisks round it are not data; ``_`` is a blank check.

    Raises BadLabel.
    """
    body, check = _checked(bare(text))
    if len(body) < 2:
        raise BadLabel("length", words(gettext_noop("The HIBC label is empty.")))
    if body[1] == "/":
        message = gettext_noop("This is an HIBC label of a care provider, not of a supplier.")
        raise BadLabel("provider", words(message))
    if not body[1].isalpha():
        data = hibc_data.read(body[1:-1].split("/"), today)
        return _filled(Label(Form.SECONDARY, check, link=body[-1]), data)
    primary, slash, rest = body[1:].partition("/")
    label = _primary(primary, check)
    if not slash:
        return label
    return _filled(replace(label, form=Form.COMBINED), hibc_data.read(rest.split("/"), today))


def _primary(text: str, check: str) -> Label:
    labeler, product, unit = text[:4], text[4:-1], text[-1:]
    if len(text) < 6 or len(product) > MOST_PRODUCT or not text.isalnum() or not is_digits(unit):
        message = gettext_noop("The HIBC label has no labeler, product and unit of measure.")
        raise BadLabel("length", words(message))
    return Label(Form.PRIMARY, check, labeler, product, unit)


def _filled(label: Label, data: Data) -> Label:
    return replace(
        label,
        lot=data.lot,
        serial=data.serial,
        expiry=data.expiry,
        made=data.made,
        quantity=data.quantity,
        others=data.others,
        faults=data.faults,
    )


def _checked(text: str) -> tuple[str, str]:
    if len(text) < 3 or text[0] != "+":
        raise BadLabel("length", _NO_LABEL)
    if any(c not in HIBC_SET for c in text):
        raise BadLabel("characters", _BAD_CHARACTERS)
    if mod43(text[:-1]) != text[-1]:
        raise BadLabel("check-digit", _BAD_CHECK)
    return text[:-1], text[-1]


_NO_LABEL: Words = words(gettext_noop("An HIBC label starts with + and ends with a check character."))
_BAD_CHARACTERS = words(
    gettext_noop("An HIBC label holds digits, capitals, the marks of its set and blanks only.")
)
_BAD_CHECK = words(gettext_noop("The check character of the HIBC label is wrong: scan it again."))


def join(primary: Label, secondary: Label) -> Label:
    """One label from two symbols, scanned in either order. Raises BadLabel if they do not belong together."""
    if primary.form is Form.SECONDARY:
        primary, secondary = secondary, primary
    if primary.form is not Form.PRIMARY or secondary.form is not Form.SECONDARY:
        raise BadLabel(
            "pairing", words(gettext_noop("One primary and one secondary HIBC label make a pair."))
        )
    if secondary.link != primary.check:
        message = gettext_noop("The HIBC labels do not belong together: their link character differs.")
        raise BadLabel("pairing", words(message))
    return replace(
        secondary,
        form=Form.COMBINED,
        labeler=primary.labeler,
        product=primary.product,
        unit=primary.unit,
    )
