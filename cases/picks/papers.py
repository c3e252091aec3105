"""Numbers and codes of the sheets that this program hands out: pick lists and count sheets.

A sheet's GDTI (253) takes the thirteen digits of its site's own global location number as the kind of
document: they are under the hospital's company prefix, however long that is, and document numbers are a
space of their own. The serial is the sheet's number without its hyphen, "PL00042".
"""

from __future__ import annotations

from trays.identifiers import ours
from trays.identifiers.gs1 import Malformed
from trays.parties.models import Site

PICK_LIST = "PL"
COUNT_SHEET = "CS"
IMPLANT_RECORD = "IR"
CASE = "CA"


def number_of(letters: str, key: int) -> str:
    """The number people say: letters, hyphen, the row's own key with five digits at least."""
    return f"{letters}-{key:05d}"


def serial_of(number: str) -> str:
    """The number as it stands in a code, where a hyphen starts the number of a line."""
    return number.replace("-", "", 1)


def number_from(serial: str) -> str:
    """The number that a scanned serial stands for; "" when it is none of ours."""
    letters, digits = serial[:2], serial[2:]
    ours_ = letters in (PICK_LIST, COUNT_SHEET, IMPLANT_RECORD, CASE)
    return f"{letters}-{digits}" if ours_ and digits.isascii() and digits.isdecimal() else ""


def sheet_code(site: Site, number: str) -> str:
    """The element string of a sheet; "" for a site without a location number."""
    document = _document(site)
    try:
        return ours.sheet(document, serial_of(number)) if document else ""
    except Malformed:
        return ""


def case_code(site: Site, key: int) -> str:
    """The element string that names a case by the key of its row; "" for a site without a location number."""
    return sheet_code(site, number_of(CASE, key))


def case_key(number: str) -> int | None:
    """The key of the case that a number of ours names; None when it names a sheet."""
    letters, _hyphen, digits = number.partition("-")
    return int(digits) if letters == CASE and len(digits) < 19 else None


def construct_key(number: str) -> int | None:
    """The key of the construct whose implant record a number of ours names; None for any other sheet."""
    letters, _hyphen, digits = number.partition("-")
    return int(digits) if letters == IMPLANT_RECORD and len(digits) < 19 else None


def line_code(site: Site, number: str, line: int) -> str:
    """The element string of one line of a sheet; "" for a site without a location number."""
    document = _document(site)
    try:
        return ours.sheet_line(document, serial_of(number), line) if document else ""
    except Malformed:
        return ""


def line_text(number: str, line: int) -> str:
    """What a line's code says after the document's digits, to read aloud or to type."""
    return f"{serial_of(number)}-{line:0{ours.LINE_DIGITS}d}"


def _document(site: Site) -> str:
    return site.gln or site.party.gln
