"""What may go into a symbol: a complete GS1 element string without a fault, or nothing is printed."""

from trays.identifiers import gs1, ours


class PayloadRefused(ValueError):
    """The element string is missing, breaks a rule, or does not fit the symbol: nothing is printed."""


def checked(payload: str) -> str:
    """The element string itself, if every rule holds and no separator is missing or too many.

    Raises PayloadRefused with the first broken rule.
    """
    if not payload:
        raise PayloadRefused("There is no identifier to print.")
    parsed = gs1.parse(payload)
    fault = next(iter(parsed.faults), None) or ours.fault_of_ours(parsed.elements)
    if fault is not None:
        raise PayloadRefused(f"The identifier cannot be printed: {fault.sentence}")
    if gs1.build((e.ai, e.value) for e in parsed.elements) != payload:
        raise PayloadRefused("The identifier cannot be printed: its separators are not where they belong.")
    return payload
