"""A keyboard-wedge scanner for tests in Chromium: real key events, each with the moment a scanner gives it.

The moments go with the events (the browser takes them for when the key went down), so that a busy machine
does not make a slow scanner of a fast one.
"""

import string
import time
from dataclasses import dataclass, field
from typing import Any

GS = "\x1d"
ALT, CTRL, SHIFT = 1, 2, 8
_SHIFTED = dict(zip(")!@#$%^&*(", "0123456789", strict=True)) | dict(
    zip('~_+{}|:"<>?', "`-=[]\\;',./", strict=True)
)
_PLACES = dict(zip("`-=[]\\;',./ ", (
    "Backquote", "Minus", "Equal", "BracketLeft", "BracketRight", "Backslash", "Semicolon", "Quote", "Comma",
    "Period", "Slash", "Space",
), strict=True))  # fmt: skip
_CODES = {"Enter": 13, "Tab": 9, "F8": 119, "F9": 120, "Shift": 16, "Control": 17, "Alt": 18}


def place_of(letter: str) -> tuple[str, int]:
    """The key of a letter on a US keyboard, and whether Shift is held with it."""
    if letter in string.ascii_letters:
        return f"Key{letter.upper()}", SHIFT if letter.isupper() else 0
    plain = _SHIFTED.get(letter, letter)
    held = SHIFT if plain != letter else 0
    return (f"Digit{plain}" if plain.isdigit() else _PLACES[plain]), held


@dataclass
class Scanner:
    """One scanner at a page. ``gap`` is the time between keys in seconds; ``separator`` how it sends GS:

    "ctrl" (Ctrl and ]), "alt" (Alt held, 0 2 9 on the numeric pad), "key" (U+001D as the key), "unnamed" (a
    key without a name that brings U+001D), "f8", or any text, typed as it is.
    """

    page: Any
    gap: float = 0.008
    separator: str = "ctrl"
    # What the computer makes of a letter: another keyboard's language, or CapsLock.
    computer: dict[str, str] = field(default_factory=dict)
    before: str = ""
    end: str = "Enter"
    # After a scan, in seconds.
    rest: float = 0.15

    def __post_init__(self) -> None:
        self._wire = self.page.context.new_cdp_session(self.page)
        self._moment = 0.0

    def scan(self, code: str) -> None:
        """Types the code, between the keys before and after it."""
        self._moment = time.time()
        if self.before:
            self.press(self.before)
        for letter in code:
            self._separate() if letter == GS else self._letter(letter)
        if self.end:
            self.press(self.end)
        # No key of a person comes sooner than the scanner is done, and its second last key would have come.
        time.sleep(max(0.0, self._moment + self.rest - time.time()))

    def press(self, key: str) -> None:
        """One key down and up; Enter as a person's or a scanner's last key."""
        self._moment += self.gap
        text = {"text": "\r"} if key == "Enter" else {}
        self._key("keyDown" if text else "rawKeyDown", key, key, 0, **text)
        self._key("keyUp", key, key, 0)

    def _letter(self, letter: str) -> None:
        code, held = place_of(letter)
        shown = self.computer.get(letter, letter)
        self._moment += self.gap
        if held:
            self._key("rawKeyDown", "Shift", "ShiftLeft", held)
        self._key("keyDown", shown, code, held, text=shown)
        self._key("keyUp", shown, code, held)
        if held:
            self._key("keyUp", "Shift", "ShiftLeft", 0)

    def _separate(self) -> None:
        ways = {"ctrl": self._ctrl, "alt": self._alt, "key": self._named, "unnamed": self._unnamed}
        if self.separator in ways:
            ways[self.separator]()
        elif self.separator == "f8":
            self.press("F8")
        else:
            for letter in self.separator:
                self._letter(letter)

    def _ctrl(self) -> None:
        self._moment += self.gap
        self._key("rawKeyDown", "Control", "ControlLeft", CTRL)
        self._key("rawKeyDown", "]", "BracketRight", CTRL)
        self._key("keyUp", "]", "BracketRight", CTRL)
        self._key("keyUp", "Control", "ControlLeft", 0)

    def _alt(self) -> None:
        self._moment += self.gap
        self._key("rawKeyDown", "Alt", "AltLeft", ALT)
        for digit, key in (("0", "Insert"), ("2", "ArrowDown"), ("9", "PageUp")):
            self._moment += self.gap
            self._key("rawKeyDown", key, f"Numpad{digit}", ALT)
            self._key("keyUp", key, f"Numpad{digit}", ALT)
        self._key("keyUp", "Alt", "AltLeft", 0)

    def _named(self) -> None:
        self._moment += self.gap
        self._key("keyDown", GS, "", 0, text=GS)

    def _unnamed(self) -> None:
        self._moment += self.gap
        self._key("keyDown", "Unidentified", "", 0, text=GS)

    def _key(self, kind: str, key: str, code: str, held: int, **more: str) -> None:
        self._wire.send(
            "Input.dispatchKeyEvent",
            {
                "type": kind,
                "key": key,
                "code": code,
                "modifiers": held,
                "timestamp": self._moment,
                "windowsVirtualKeyCode": _virtual(key),
                **more,
            },
        )


def _virtual(key: str) -> int:
    """What the event calls its keyCode."""
    plain = len(key) == 1 and key.isascii() and key.isalnum()
    return ord(key.upper()) if plain else _CODES.get(key, 0)


CAPS_LOCK = {letter: letter.swapcase() for letter in string.ascii_letters}
# A computer set to German where the scanner speaks US keyboard.
GERMAN = dict(zip("yzYZ-/_+:", "zyZYß-?`Ö", strict=True))
