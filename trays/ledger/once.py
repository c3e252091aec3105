"""An act is done once: in one transaction, and its answer is given again when the same key comes back."""

from collections.abc import Callable
from typing import Any, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from trays.ledger.append import answered
from trays.ledger.models import Event
from trays.web.errors import Refusal

T = TypeVar("T")
# What an event keeps for a repeat: ids only.
Answer = dict[str, Any]


def changed_meanwhile(clash: IntegrityError) -> Refusal:
    """What is said when two people met at the same row at the same moment."""
    return Refusal(
        "changed-meanwhile",
        _("Somebody else has changed the same thing at this moment."),
        _("Look at it again, then give it once more if it is still right."),
    )


def act_once(
    *,
    verb: str,
    by: Any,
    client_key: UUID | None,
    work: Callable[[], T],
    replay: Callable[[Answer], T],
    clash_said: Callable[[IntegrityError], Refusal] = changed_meanwhile,
) -> T:
    """Do the work in one transaction; or, if the key was used, give the stored answer through `replay`.

    Two requests with one key may run side by side: the ledger's unique key lets one of them through and
    the other gets its answer. Any other clash of two people is told as a refusal, by `clash_said`.
    """
    if before := answered(client_key):
        return replay(_answer_of(before, verb, by))
    try:
        with transaction.atomic():
            return work()
    except IntegrityError as clash:
        if before := answered(client_key):
            return replay(_answer_of(before, verb, by))
        raise clash_said(clash) from clash


def _answer_of(event: Event, verb: str, by: Any) -> Answer:
    if event.verb != verb or event.actor_id != by.pk:
        raise Refusal(
            "key-used-before",
            _("This form was already used for something else."),
            _("Open the page again and give it once more."),
        )
    return dict(event.answer or {})
