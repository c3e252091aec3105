"""Check digits and check characters of GS1 keys and HIBC labels."""

HIBC_SET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
_PAIR_SET = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83)


def is_digits(text: str) -> bool:
    """True for one or more of 0 to 9 and nothing else (no digits of other scripts)."""
    return bool(text) and text.isascii() and text.isdigit()


def mod10(digits: str) -> str:
    """GS1 check digit for digits without one: weights 3, 1, 3 ... from the right.

    Raises ValueError for anything but digits.
    """
    if not is_digits(digits):
        raise ValueError("A check digit is made from digits only.")
    return str(-_weighed(digits) % 10)


def _weighed(digits: str) -> int:
    return 3 * sum(map(int, digits[::-2])) + sum(map(int, digits[-2::-2]))


def with_mod10(digits: str) -> str:
    """The digits with their check digit at the end. Raises ValueError."""
    return digits + mod10(digits)


def holds_mod10(digits: str) -> bool:
    """True if the last digit is the check digit of the others."""
    return len(digits) > 1 and is_digits(digits) and (_weighed(digits[:-1]) + int(digits[-1])) % 10 == 0


def gtin14(digits: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits as 14 digits with zeros on the left.

    Raises ValueError for another length or a wrong check digit.
    """
    if len(digits) not in (8, 12, 13, 14) or not holds_mod10(digits):
        raise ValueError("A GTIN has 8, 12, 13 or 14 digits, the last a right check digit.")
    return digits.rjust(14, "0")


def gtins14(text: str) -> tuple[str, ...]:
    """The GTINs, as 14 digits, that bare digits can be by their check digit.

    Eight digits may be EAN-8 or the shortened UPC-E, whose check digits often agree.
    """
    candidates = [text] if len(text) in (8, 12, 13, 14) else []
    upc_a = _upc_a(text)
    candidates += [upc_a] if upc_a else []
    return tuple(c.rjust(14, "0") for c in candidates if holds_mod10(c))


def _upc_a(text: str) -> str | None:
    """The twelve digits that UPC-E leaves zeros out of: its last digit but one says which."""
    if len(text) != 8 or not is_digits(text) or text[0] not in "01":
        return None
    system, body, last, check = text[0], text[1:6], text[6], text[7]
    if last in "012":
        return f"{system}{body[:2]}{last}0000{body[2:]}{check}"
    if last in "34":
        kept = int(last)
        return f"{system}{body[:kept]}00000{body[kept:]}{check}"
    return f"{system}{body}0000{last}{check}"


def mod43(text: str) -> str:
    """HIBC check character: sum of the values of all characters, the leading plus included, modulo 43.

    Raises ValueError for a character outside the set.
    """
    try:
        return HIBC_SET[sum(HIBC_SET.index(c) for c in text) % 43]
    except ValueError as error:
        raise ValueError("HIBC holds digits, capitals and - . $ / + % and the blank only.") from error


def check_pair(text: str) -> str:
    """The two GS1 check characters of an alphanumeric key (8013, 8014) of at most 23 characters.

    Raises ValueError.
    """
    if not 0 < len(text) <= len(_PRIMES) or any(c not in CSET_82 for c in text):
        raise ValueError("The key has 1 to 23 characters of the GS1 set before its check characters.")
    total = sum(CSET_82.index(c) * p for c, p in zip(reversed(text), _PRIMES, strict=False)) % 1021
    return _PAIR_SET[total >> 5] + _PAIR_SET[total & 31]
