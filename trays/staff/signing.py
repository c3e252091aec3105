"""Signing: a person's own PIN, within a session that is open already, and the signature it makes.

The PIN is checked before the act's transaction begins, so that a wrong one is counted although nothing else
is kept.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from trays.ledger.append import HOUSE, Line, canonical_text, record
from trays.staff.access import may
from trays.staff.models import Person, Signature
from trays.web.errors import NotAllowed, Refusal

MOST_WRONG = 10
"""So many wrong PINs in a row lock a person's signing; setting a new PIN with the password opens it again."""
SHORTEST, LONGEST = 4, 12


@dataclass(frozen=True, slots=True)
class Signer:
    """A person whose PIN has just been found right. Made by `signer` only."""

    person: Person


def signer(*, person: Person, pin: str) -> Signer:
    """Check a person's PIN. Call it outside of the act's transaction.

    Raises NotAllowed "no-pin" when the person has none yet, "signing-locked" after ten wrong ones,
    "wrong-pin".
    """
    if not person.is_active or not person.pin:
        raise NotAllowed(
            "no-pin",
            _("%(name)s has no PIN to sign with.") % {"name": person.name},
            _("Set one on the page My PIN, then sign."),
        )
    # Counted before it is looked at, so that many tries at the same moment are not one.
    with transaction.atomic():
        counted = Person.objects.filter(pk=person.pk, wrong_pins__lt=MOST_WRONG).update(
            wrong_pins=F("wrong_pins") + 1
        )
    if not counted:
        raise NotAllowed(
            "signing-locked",
            _("Ten PINs of %(name)s were wrong; signing is locked for this person.") % {"name": person.name},
            _("The person sets a new PIN with the password. Another person may sign meanwhile."),
        )
    if not check_password(pin, person.pin):
        raise NotAllowed(
            "wrong-pin",
            _("This is not the PIN of %(name)s.") % {"name": person.name},
            _("Enter it again. After ten wrong ones signing is locked."),
        )
    Person.objects.filter(pk=person.pk).update(wrong_pins=0)
    return Signer(person)


def signer_named(*, name: str, pin: str) -> Signer:
    """Somebody who signs on another person's screen: named by sign-in or badge, found by their own PIN.

    Raises Refusal "no-such-person", and what `signer` raises.
    """
    given = name.strip()
    people = Person.objects.filter(is_active=True)
    person = (people.filter(username=given).first() or people.filter(badge=given).first()) if given else None
    if person is None:
        raise Refusal(
            "no-such-person",
            _("Nobody signs in with that name."),
            _("Let the other person enter their own sign-in or badge, and their PIN."),
        )
    return signer(person=person, pin=pin)


def second_may(second: Signer, *, act: str, site_id: int) -> None:
    """Refuse, with code "second-may-not", where the second person's role does not include the act.

    Their refusal is no reason to turn away the person who is signed in.
    """
    if not may(by=second.person, act=act, site_id=site_id):
        raise Refusal(
            "second-may-not",
            _("The role of %(name)s does not include this here.") % {"name": second.person.name},
            _("Let another person sign with you."),
        )


def sign(
    *, by: Signer, meaning: str, subject: str, subject_id: int, content: dict[str, Any], at: datetime
) -> Signature:
    """Put a person's signature under a thing, bound to its content. Call it inside the transaction of the
    act.
    """
    text = canonical_text(content)
    return Signature.objects.create(
        person=by.person,
        name=by.person.name,
        meaning=meaning,
        subject=subject,
        subject_id=subject_id,
        signed_at=at,
        content=text,
        digest=hashlib.sha256(text.encode()).hexdigest(),
    )


def holds(signature: Signature, content: dict[str, Any]) -> bool:
    """Whether the content now is what was signed, and the kept text is what its digest says."""
    text = canonical_text(content)
    return text == signature.content and hashlib.sha256(text.encode()).hexdigest() == signature.digest


def pin_set(*, by: Person, password: str, pin: str, at: datetime) -> None:
    """Set one's own PIN, proven by one's password; opens signing again if it was locked.

    Raises NotAllowed "wrong-password"; Refusal "pin-shape", "pin-too-simple".
    """
    if not by.check_password(password):
        raise NotAllowed(
            "wrong-password", _("This is not your password."), _("Enter the one you sign in with.")
        )
    if not (SHORTEST <= len(pin) <= LONGEST and pin.isascii() and pin.isdigit()):
        raise Refusal("pin-shape", _("A PIN has 4 to 12 figures and nothing else."), _("Choose another."))
    steps = {ord(b) - ord(a) for a, b in zip(pin, pin[1:], strict=False)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise Refusal(
            "pin-too-simple",
            _("A PIN of one figure, or of figures in a row, is guessed first."),
            _("Choose another."),
        )
    with transaction.atomic():
        Person.objects.filter(pk=by.pk).update(pin=make_password(pin), wrong_pins=0)
        record(chain=HOUSE, verb="pin.set", by=by, at=at, lines=[Line("person", by.pk)])
