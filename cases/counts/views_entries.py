"""What a counting device asks and sends: the case as it stands, and its entries in order."""

import json
from dataclasses import asdict
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from cases.bookings.models import Case
from cases.bookings.queries import whole_cases
from cases.counts.deeds import Given, Hand, Taken, deed_done, uuid_of
from cases.counts.kinds_count import as_json
from cases.counts.models_discrepancies import RIGHT_NOW, Outcome
from cases.counts.queries_device import came_on, counters_at, sent_for_others, steps_of
from cases.counts.sending import entry_send_for, held_for
from cases.counts.state import count_state
from trays.processing.pages import person_of
from trays.staff.access import fetch
from trays.staff.models import Person
from trays.web.errors import NotAllowed, Unreadable
from trays.web.page import go_to

MOST_ENTRIES = 100


@require_GET
def state(request: HttpRequest, pk: int) -> JsonResponse:
    """The case as it stands, for a device that is to count with or without a network."""
    return _answer(request, case_of(request, pk))


@require_POST
def entries(request: HttpRequest, pk: int) -> JsonResponse:
    """A device's entries, oldest first: each is done once, and what came of it is told."""
    case = case_of(request, pk)
    sent = _read(request)
    hand = Hand(person_of(request), uuid_of(sent.get("device")), timezone.now())
    taken = [_one(hand, case, entry) for entry in sent["entries"]]
    return _answer(request, case, taken=[asdict(one) for one in taken])


@require_POST
def by_form(request: HttpRequest, pk: int) -> HttpResponse:
    """One entry by a plain form, for a device without scripts; what came of it stands on the page."""
    case, by = case_of(request, pk), person_of(request)
    given: dict[str, Any] = {name: request.POST.get(name, "") for name in request.POST}
    given |= {"packs": request.POST.getlist("packs"), "key": given.get("key") or str(uuid4())}
    taken = deed_done(Hand(by, None, timezone.now()), case, given)
    if taken.code == "not-your-act":
        raise NotAllowed(taken.code, taken.said, taken.next_step)
    if taken.result in ("refused", "conflict"):
        messages.warning(request, f"{taken.said} {taken.next_step}")
    return go_to(request, "theatre-count", case.pk)


def case_of(request: HttpRequest, pk: int) -> Case:
    """The case of a page in theatre, whole."""
    found: Case = fetch(whole_cases(), by=person_of(request), act="see_theatre", pk=pk)
    return found


def picture(request: HttpRequest, case: Case) -> dict[str, Any]:
    """What a device keeps of a case while it is open."""
    by = person_of(request)
    found = count_state(case)
    return {
        "state": {**as_json(found), "came_on": came_on(case), "steps": steps_of(case)} if found else None,
        "closed": case.status not in (Case.Status.BOOKED, Case.Status.OPENED),
        "people": counters_at(site_id=case.site_id),
        "outcomes": [
            {"value": one.value, "label": str(one.label), "right_now": one in RIGHT_NOW} for one in Outcome
        ],
        "me": {"pk": by.pk, "name": by.name},
        "sent_for": sent_for_others(case),
    }


def _answer(request: HttpRequest, case: Case, **more: Any) -> JsonResponse:
    return JsonResponse({**picture(request, case), "token": get_token(request), **more})


def _read(request: HttpRequest) -> dict[str, Any]:
    try:
        sent = json.loads(request.body)
    except (ValueError, RecursionError):
        sent = None
    if (
        not isinstance(sent, dict)
        or not isinstance(sent.get("entries"), list)
        or len(sent["entries"]) > MOST_ENTRIES
        or not all(isinstance(entry, dict) for entry in sent["entries"])
    ):
        raise Unreadable(
            "entries-unreadable",
            _("What the device sent cannot be read; nothing of it was kept."),
            _("Load the page again. What waits on the device stays there."),
        )
    return sent


def _one(hand: Hand, case: Case, entry: dict[str, Any]) -> Taken:
    """One entry; another person's is held until whoever is signed in sends it in their own name."""
    if entry.get("by") == hand.by.pk:
        return deed_done(hand, case, entry)
    key, maker = uuid_of(entry.get("key")), _whose(entry.get("by"))
    if maker is None or key is None or entry.get("sent_by") != hand.by.pk:
        held = held_for(maker)
        return Taken(
            str(entry.get("key", ""))[:40], "held", str(held.sentence), str(held.next_step), held.code
        )
    taken = deed_done(hand, case, entry)
    if taken.result != "refused":
        entry_send_for(
            by=hand.by, case=case, entered_by=maker, entry_key=key, at=hand.at, device=hand.device,
            device_at=Given(entry).moment(),
        )  # fmt: skip
    return taken


def _whose(pk: object) -> Person | None:
    return Person.objects.filter(pk=pk).first() if type(pk) is int and 0 < pk < 10**12 else None
