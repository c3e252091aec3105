"""What is told about a code: words that a higher room can translate, broken rules, and assumptions.

This room speaks English and knows no translator. Each sentence is a message with named gaps; whoever has
a translator calls ``Words.say`` with it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Union


def gettext_noop(message: str) -> str:
    """Mark a message for the catalogue of translations. Returns it as it is."""
    return message


@dataclass(frozen=True, slots=True)
class Words:
    """A sentence: ``message`` with gaps such as ``%(ai)s``, and what fills them."""

    message: str
    args: tuple[tuple[str, Union[str, "Words"]], ...] = ()

    def say(self, translate: Callable[[str], str] = gettext_noop) -> str:
        """The sentence in the language of ``translate``, in English without it."""
        message = translate(self.message)
        if not self.args:
            return message
        return message % {
            name: filling if isinstance(filling, str) else filling.say(translate)
            for name, filling in self.args
        }

    def __str__(self) -> str:
        return self.say()


def words(message: str, **args: str | int | Words) -> Words:
    """Words from a marked message and its fillings."""
    return Words(message, tuple((k, str(v) if isinstance(v, int) else v) for k, v in args.items()))


def shortened(text: str, most: int = 40) -> str:
    """Text to put into a sentence: what cannot be printed becomes a box, long text ends in an ellipsis."""
    shown = "".join(c if c.isprintable() else "□" for c in text[: most + 1])
    return shown if len(shown) <= most else shown[: most - 1] + "…"


@dataclass(frozen=True, slots=True)
class Fault:
    """A broken rule. ``stops``: what it is about cannot be relied on; otherwise it is a warning."""

    code: str
    words: Words
    ai: str = ""
    stops: bool = True

    @property
    def sentence(self) -> str:
        """The rule that was broken, in English."""
        return self.words.say()


@dataclass(frozen=True, slots=True)
class Note:
    """Something that was taken for granted while reading."""

    code: str
    words: Words

    @property
    def sentence(self) -> str:
        """What was taken for granted, in English."""
        return self.words.say()
