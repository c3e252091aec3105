"""Identifiers that this program puts on its own labels and sheets, made and read back.

Sets and containers carry a GRAI, packs and instruments a GIAI (a pack with its round in the internal
AI 91), places a GLN with its extension, sheets a GDTI, people a GSRN; components keep their GTIN. Who has
no company prefix uses the internal AIs 92 to 94 for numbers of packs and sheets and for badges: they mean
something in this house only. Lot, dates and serial belong to a GTIN and are never put beside a GRAI or
GIAI. All makers return an element string for a symbol and raise ``gs1.Malformed`` for data that breaks a
rule.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from trays.identifiers import gs1
from trays.identifiers.checkdigits import gtin14, is_digits, with_mod10
from trays.identifiers.gs1 import Element, Malformed
from trays.identifiers.told import Fault, gettext_noop, words

ROUND, PACK_NUMBER, SHEET_NUMBER, BADGE = "91", "92", "93", "94"
ASSET_AIS = frozenset({"8003", "8004"})
NEVER_BESIDE_ASSETS = frozenset({"10", "17", "21"})
# Lines of a sheet are coded serial + hyphen + at least three digits.
LINE_DIGITS = 3


@dataclass(frozen=True)
class SetKey:
    """A set's holder or a container: asset type (13 digits with check digit) and serial."""

    asset_type: str
    serial: str


@dataclass(frozen=True)
class AssetKey:
    """A pack or instrument by its GIAI, a pack also by its number; ``round`` is the pack's round, or none."""

    giai: str
    round: str | None = None


@dataclass(frozen=True)
class PlaceKey:
    """A place: GLN and, for a shelf or bin, its extension."""

    gln: str
    extension: str | None = None


@dataclass(frozen=True)
class SheetKey:
    """A sheet of paper, or one line of it: never the thing that the line is about.

    ``document`` is empty where the sheet is coded by its number alone.
    """

    document: str
    serial: str
    line: int | None = None


@dataclass(frozen=True)
class TradeItemKey:
    """A kind of component by its GTIN (14 digits)."""

    gtin: str


@dataclass(frozen=True)
class StaffKey:
    """A person who works here, by GSRN (18 digits) or badge code."""

    code: str


OurKey = SetKey | AssetKey | PlaceKey | SheetKey | TradeItemKey | StaffKey


def numbered(prefix: str, reference: str, length: int = 13) -> str:
    """Company prefix, zeros, reference and check digit: ``length`` digits in all.

    Raises Malformed when they are no digits or too many.
    """
    room = length - 1 - len(prefix)
    if not (is_digits(prefix) and is_digits(reference)) or len(reference) > room:
        message = gettext_noop("Prefix %(prefix)s and number %(number)s do not make %(length)s digits.")
        raise Malformed(Fault("length", words(message, prefix=prefix, number=reference, length=length)))
    return with_mod10(prefix + reference.rjust(room, "0"))


def asset_type(prefix: str, reference: str) -> str:
    """Asset type of a kind of set (13 digits)."""
    return numbered(prefix, reference)


def gln(prefix: str, reference: str) -> str:
    """Global location number of a room (13 digits)."""
    return numbered(prefix, reference)


def document_number(prefix: str, reference: str) -> str:
    """Document number of a kind of sheet (13 digits)."""
    return numbered(prefix, reference)


def gtin(prefix: str, reference: str) -> str:
    """GTIN of a single unit as 14 digits (indicator 0)."""
    return gtin14(numbered(prefix, reference))


def set_label(asset_type: str, serial: str) -> str:
    """(8003): a set's holder or a container."""
    return gs1.build([("8003", "0" + asset_type + serial)])


def pack_label(prefix: str, key: str, round: str) -> str:
    """(8004) + (91): a pack and its round, so that a copy in a record names the round."""
    return gs1.build([("8004", prefix + key), (ROUND, round)])


def instrument(prefix: str, key: str) -> str:
    """(8004): one instrument, or a pack without its round."""
    return gs1.build([("8004", prefix + key)])


def place(gln: str, extension: str = "") -> str:
    """(414), and (254) for a shelf or bin within the room."""
    return gs1.build([("414", gln), *([("254", extension)] if extension else [])])


def sheet(document: str, serial: str) -> str:
    """(253): one sheet. The serial holds no hyphen, which starts a line's number."""
    return gs1.build([("253", document + _sheet_serial(serial, None, "253"))])


def sheet_line(document: str, serial: str, number: int) -> str:
    """(253) with ``-nnn``: one line of a sheet. Scanning it goes to the line and ticks nothing."""
    return gs1.build([("253", document + _sheet_serial(serial, number, "253"))])


def _sheet_serial(serial: str, line: int | None, ai: str) -> str:
    if not serial or "-" in serial:
        message = gettext_noop("A sheet's serial has at least one character and no hyphen.")
        raise Malformed(Fault("content", words(message), ai))
    if line is None:
        return serial
    if line < 1:
        raise Malformed(Fault("content", words(gettext_noop("Lines count from 1.")), ai))
    return f"{serial}-{line:0{LINE_DIGITS}d}"


def staff(badge: str) -> str:
    """(8017) for a GSRN of 18 digits, else (94): a person's badge."""
    ai = "8017" if len(badge) == 18 and is_digits(badge) else BADGE
    return gs1.build([(ai, badge)])


def pack_number(number: str, round: str = "") -> str:
    """(92), and (91) for its round: a pack by its number, for a house without a company prefix."""
    return gs1.build([(PACK_NUMBER, number), *([(ROUND, round)] if round else [])])


def sheet_number(serial: str, line: int | None = None) -> str:
    """(93): a sheet by its number, or one line of it, for a house without a company prefix."""
    return gs1.build([(SHEET_NUMBER, _sheet_serial(serial, line, SHEET_NUMBER))])


def component(gtin: str) -> str:
    """(01): a kind of component, from a GTIN of 8, 12, 13 or 14 digits."""
    return gs1.build([("01", gtin.rjust(14, "0"))])


def fault_of_ours(elements: Iterable[Element]) -> Fault | None:
    """Lot, expiry or serial beside an asset: never on a label that is made here."""
    ais = {e.ai for e in elements}
    beside = sorted(ais & NEVER_BESIDE_ASSETS)
    if ais & ASSET_AIS and beside:
        message = gettext_noop("(%(ai)s) belongs to a GTIN and never stands beside an asset.")
        return Fault("pairing", words(message, ai=beside[0]), beside[0])
    return None


# What stands beside each key on labels that are made here.
_SHAPES = {
    "8003": (frozenset({"8003"}),),
    "8004": (frozenset({"8004"}), frozenset({"8004", ROUND})),
    "253": (frozenset({"253"}),),
    "414": (frozenset({"414"}), frozenset({"414", "254"})),
}


def possible(elements: tuple[Element, ...], own_prefixes: tuple[str, ...]) -> bool:
    """False for a reading whose key has one of our own prefixes but whose AIs never stand together here."""
    ais = {e.ai for e in elements}
    for element in elements:
        shapes = _SHAPES.get(element.ai)
        number = element.value[1:] if element.ai == "8003" else element.value
        if shapes and any(number.startswith(p) for p in own_prefixes) and ais not in shapes:
            return False
    return True


def _sheet_key(document: str, serial: str) -> SheetKey | None:
    number, hyphen, line = serial.partition("-")
    if not hyphen:
        return SheetKey(document, serial) if serial else None
    fine = bool(number) and is_digits(line) and len(line) >= LINE_DIGITS and int(line) > 0
    return SheetKey(document, number, int(line)) if fine else None


def key_of(elements: Iterable[Element]) -> OurKey | None:
    """The key that an element string carries, or none. Whether it is on file is the caller's to find out."""
    values = {e.ai: e.value for e in elements}
    for ai, made in _KEYS:
        if ai in values:
            return made(values)
    return _internal_key(values)


def _internal_key(values: dict[str, str]) -> OurKey | None:
    """Internal AIs are ours only where nothing else stands beside them: suppliers have their own."""
    ais = set(values)
    if ais in ({PACK_NUMBER}, {PACK_NUMBER, ROUND}):
        return AssetKey(values[PACK_NUMBER], values.get(ROUND))
    if ais == {SHEET_NUMBER}:
        return _sheet_key("", values[SHEET_NUMBER])
    return StaffKey(values[BADGE]) if ais == {BADGE} else None


# The key of a code is that of the first AI in this order.
_KEYS: tuple[tuple[str, Callable[[dict[str, str]], OurKey | None]], ...] = (
    ("8003", lambda values: SetKey(values["8003"][1:14], values["8003"][14:])),
    ("8004", lambda values: AssetKey(values["8004"], values.get(ROUND))),
    ("253", lambda values: _sheet_key(values["253"][:13], values["253"][13:])),
    ("414", lambda values: PlaceKey(values["414"], values.get("254"))),
    ("8017", lambda values: StaffKey(values["8017"])),
    ("01", lambda values: TradeItemKey(values["01"])),
)
