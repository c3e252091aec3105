"""Whole numbers as a page's own buttons and addresses send them."""

# A database's whole numbers have nineteen digits at most; a reader of ten thousand digits would be kept busy.
MOST_DIGITS = 18


def whole(text: str) -> int | None:
    """The number; None for any other text, signs of other scripts and endless digits among them."""
    fine = text.isascii() and text.isdecimal() and len(text) <= MOST_DIGITS
    return int(text) if fine else None
