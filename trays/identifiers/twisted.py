"""Finding out that a code came through another keyboard layout or with CapsLock, where a check proves it."""

from collections.abc import Callable
from dataclasses import replace

from trays.identifiers import keyboards, table
from trays.identifiers.checkdigits import HIBC_SET
from trays.identifiers.keyboards import Twist
from trays.identifiers.results import Form, Kind, Part, Reading
from trays.identifiers.told import Note, gettext_noop, words

_LEAST = 8
_CODED = (Form.ELEMENTS, Form.DIGITS, Form.HIBC)
_CHECKED = frozenset({"csum", "csumalpha"})


def untwisted(reading: Reading, sent: str, read: Callable[[str], Reading]) -> Reading:
    """The reading itself, or that of the text as it was sent before a keyboard twisted it.

    Taken only where a check digit proves it, told in ``assumed``; only offered where the text becomes
    legal by it and no more.
    """
    if any(note.code == keyboards.CAPS_LOCK.code for note in reading.assumed):
        return replace(reading, certain=_unchanged(reading, sent))
    if not _doubtful(reading):
        return reading
    proven: list[tuple[Twist, Reading]] = []
    likely: list[tuple[Twist, Reading]] = []
    for twist in (keyboards.CAPS_LOCK, *keyboards.LAYOUTS):
        turned = twist.undone(sent)
        other = read(turned) if turned != sent else reading
        if other is reading or other.stopped or other.form not in _CODED or not _checked_parts(other):
            continue
        if _proves(reading, other, sent):
            proven.append((twist, other))
        elif other.form is not Form.HIBC:
            likely.append((twist, other))
    if proven:
        return _taken(reading, proven, sent)
    return _offered(reading, likely) if likely else reading


def _doubtful(reading: Reading) -> bool:
    if len(reading.text) < _LEAST or reading.choices:
        return False
    return reading.kind is Kind.TEXT or reading.stopped


def _checked_parts(reading: Reading) -> list[Part]:
    """Parts whose data a check digit vouches for; an HIBC label vouches for all."""
    if reading.form is Form.HIBC:
        return list(reading.parts)
    known = table.definitions()
    return [p for p in reading.parts if p.key in known and known[p.key].checks & _CHECKED]


def _proves(before: Reading, after: Reading, sent: str) -> bool:
    """True where only turning back brought out what a check digit vouches for, or a symbology identifier."""
    if after.form is Form.HIBC:
        return any(c not in HIBC_SET for c in before.text.upper())
    if after.symbology and after.symbology != before.symbology:
        return True
    return any(p.value not in sent for p in _checked_parts(after))


def _taken(reading: Reading, found: list[tuple[Twist, Reading]], sent: str) -> Reading:
    twist, other = found[0]
    if any(one.parts != other.parts for _, one in found[1:]):
        return _offered(reading, found)
    assumed = (Note(twist.code, twist.said), *other.assumed)
    return replace(other, certain=_unchanged(other, sent), assumed=assumed)


def _unchanged(reading: Reading, sent: str) -> tuple[Part, ...]:
    """Of what is certain, the parts that came just so."""
    return tuple(p for p in reading.certain if p.value in sent)


def _offered(reading: Reading, found: list[tuple[Twist, Reading]]) -> Reading:
    choices = tuple(dict.fromkeys(c for _, one in found for c in (one.choices or (one.parts,))))
    shared = tuple(p for p in choices[0] if p in reading.parts and all(p in c for c in choices))
    message = gettext_noop(
        "This came through a keyboard set otherwise than the scanner (%(layout)s?). Compare with the label "
        "and say whether it reads so."
    )
    layout = found[0][0].layout
    return replace(
        reading,
        kind=found[0][1].kind,
        form=found[0][1].form,
        parts=shared,
        certain=shared,
        choices=choices,
        key=None,
        expiry=None,
        made=None,
        words=(words(message, layout=layout),),
    )
