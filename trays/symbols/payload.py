"""What may go into a symbol: a complete GS1 element string without a fault, or nothing is printed."""

from enum import StrEnum
from functools import lru_cache

from trays.identifiers import gs1, ours


class Carrier(StrEnum):
    """The two symbols that are printed; the values stand in addresses and commands."""

    MATRIX = "datamatrix"
    LINEAR = "gs1-128"


class PayloadRefused(ValueError):
    """The element string is missing, breaks a rule, or does not fit the symbol: nothing is printed."""


class SymbolTooLarge(PayloadRefused):
    """The symbol with its quiet zone is larger than what it is to stand on."""


# Dates that are read with day 00, the end of the month, but are never printed so.
_DATES = frozenset({"11", "12", "13", "15", "16", "17"})


def elements(payload: str) -> tuple[gs1.Element, ...]:
    """The elements of a payload, as ``checked`` finds them."""
    return _parsed(payload).elements


@lru_cache(maxsize=256)
def _parsed(payload: str) -> gs1.Parsed:
    return gs1.parse(payload)


@lru_cache(maxsize=256)
def checked(payload: str) -> str:
    """The element string itself, if every rule holds and no separator is missing or too many.

    Raises PayloadRefused with the first broken rule.
    """
    if not payload:
        raise PayloadRefused("There is no identifier to print.")
    parsed = _parsed(payload)
    fault = next(iter(parsed.faults), None) or ours.fault_of_ours(parsed.elements)
    if fault is not None:
        raise PayloadRefused(f"The identifier cannot be printed: {fault.sentence}")
    if day_zero := next((e for e in parsed.elements if e.ai in _DATES and e.value.endswith("00")), None):
        raise PayloadRefused(f"The identifier cannot be printed: ({day_zero.ai}) has no day.")
    if gs1.build((e.ai, e.value) for e in parsed.elements) != payload:
        raise PayloadRefused("The identifier cannot be printed: its separators are not where they belong.")
    return payload
