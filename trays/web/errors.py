"""What the program says when it will not do something: a code, one sentence, and what to do next."""

import contextvars
import logging
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

if TYPE_CHECKING:
    from django.forms import BaseForm

# Read aloud over a telephone: no 0 and O, no 1, I and L.
_REFERENCE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
reference_now: contextvars.ContextVar[str] = contextvars.ContextVar("reference_now", default="-")


class Refusal(Exception):
    """Something that the program does not do, with its reason and the way on.

    ``code`` is for machines and tests (kebab-case), ``sentence`` says what and why, ``next_step`` the way on.
    ``facts`` are plain values that a page or a device may use beside the words.
    """

    status = 409

    def __init__(self, code: str, sentence: str, next_step: str = "", **facts: Any) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
        self.next_step = next_step
        self.facts = facts

    def __str__(self) -> str:
        return f"{self.code}: {self.sentence}"

    def __reduce__(self) -> tuple[Any, ...]:
        return (_remake, (type(self), self.code, self.sentence, self.next_step, self.facts))

    def as_error(self) -> ValidationError:
        """The same as a form error, for pages that keep what was typed."""
        return ValidationError(f"{self.sentence} {self.next_step}".strip(), code=self.code)


def _remake(kind: type[Refusal], code: str, sentence: str, next_step: str, facts: dict[str, Any]) -> Refusal:
    return kind(code, sentence, next_step, **facts)


class Unreadable(Refusal):
    """What came in cannot be read: a broken file, a field of the wrong shape."""

    status = 422


class NotThere(Refusal):
    """There is no such thing, or not for this person: the two are answered alike."""

    status = 404


class NotAllowed(Refusal):
    """The person may see it but may not do this."""

    status = 403


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was typed: where it stands and what to put right."""

    field_id: str
    label: str
    sentence: str


def faults_from(form: "BaseForm") -> list[Fault]:
    """Every error of a bound form in the order of its fields, those of the whole form first."""
    faults = [Fault("", "", str(sentence)) for sentence in form.errors.get(NON_FIELD_ERRORS, [])]
    for field in form:
        label = "" if field.is_hidden else str(field.label)
        # A group of choices has no element of its own to go to: its first choice.
        first = f"{field.auto_id}_0" if field.use_fieldset and field.auto_id else field.id_for_label
        target = "" if field.is_hidden else (first or "")
        faults.extend(Fault(target, label, str(sentence)) for sentence in field.errors)
    return faults


def new_reference() -> str:
    """Eight letters and figures that name one request on error pages and in the log."""
    return "".join(secrets.choice(_REFERENCE_LETTERS) for _ in range(8))


class ReferenceFilter(logging.Filter):
    """Gives each log record ``reference``, the request's, or "-" outside of one."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.reference = reference_now.get()
        return True
