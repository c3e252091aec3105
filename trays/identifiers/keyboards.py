"""What a keyboard turns a code into when scanner and computer disagree about it, and how to undo it.

A scanner that plays a keyboard sends keys, not characters: it counts on a US layout, the computer may be
set to another, and CapsLock inverts letters. Each ``Twist`` maps what arrived back to what was sent.
"""

from dataclasses import dataclass

from trays.identifiers.told import Words, gettext_noop, words


@dataclass(frozen=True, slots=True)
class Twist:
    """One way in which keys come out as other characters."""

    code: str
    layout: Words
    said: Words
    back: dict[int, str]

    def undone(self, text: str) -> str:
        """The text as it was sent, if this is what happened to it."""
        return text.translate(self.back)


def _pairs(came: str, sent: str) -> dict[int, str]:
    return {ord(c): s for c, s in zip(came, sent, strict=True) if c != s}


_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_CAPS = _pairs(_LETTERS + _LETTERS.lower(), _LETTERS.lower() + _LETTERS)
_GERMAN_LETTERS = _pairs("YZyz", "ZYzy")
# By position: number row, then the signs right of the letters; without and with Shift.
_GERMAN = _GERMAN_LETTERS | _pairs(
    "ßü+öä#-" + "\"§&/()=?`Ü*ÖÄ';:_´°",
    "-[];'\\/" + '@#^&*()_+{}:"|<>?=~',
)
_FRENCH_LETTERS = _pairs("QAZWqazw", "AQWZaqwz")
_FRENCH = _FRENCH_LETTERS | _pairs(
    "mM&é\"'(-è_çà" + "1234567890" + ")°=+" + "^$ù*" + "¨£%µ" + ",;:!" + "?./§",
    ";:1234567890" + "!@#$%^&*()" + "-_=+" + "[]'\\" + '{}"|' + "m,./" + "M<>?",
)

_SET_KEYBOARD = gettext_noop(
    "The characters came as through a %(layout)s keyboard and were turned back; the check digit holds. "
    "Set the scanner to the computer's keyboard layout."
)
_TURNED_CAPS = gettext_noop(
    "Capitals and small letters had come the wrong way round, as with CapsLock on, and were turned back."
)
GERMAN = words(gettext_noop("German"))
FRENCH = words(gettext_noop("French"))

CAPS_LOCK = Twist("capslock", words("CapsLock"), words(_TURNED_CAPS), _CAPS)
LAYOUTS = (
    Twist("layout", GERMAN, words(_SET_KEYBOARD, layout=GERMAN), _GERMAN),
    Twist("layout", FRENCH, words(_SET_KEYBOARD, layout=FRENCH), _FRENCH),
)
# Letters only, where signs and digits came through unharmed.
LETTER_SWAPS = (
    Twist("layout", GERMAN, words(_SET_KEYBOARD, layout=GERMAN), _GERMAN_LETTERS),
    Twist("layout", FRENCH, words(_SET_KEYBOARD, layout=FRENCH), _FRENCH_LETTERS),
)
