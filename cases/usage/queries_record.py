"""The implant record of a case: what a signature is bound to, who signed and whether it still holds, and what
the closing waits for.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case, Construct
from cases.counts.models_counts import Stage, StageState
from cases.counts.models_templates import StageKind
from cases.counts.signing import count_gaps
from cases.counts.state_gaps import SIGNATURES
from cases.picks.models import PackFor
from cases.usage.kinds import Shown, Wait
from cases.usage.models import Brought
from cases.usage.models_record import Explant, RecordSigning, SignRole, StopMoment, SurgeonDecision
from cases.usage.queries import piece_name
from trays.instruments.models import PackState
from trays.staff.signing import holds

RECORD_FORMAT = 1
WANTED_ROLES = (SignRole.SCRUB, SignRole.CIRCULATING)
IN_ROOM = (PackState.ISSUED, PackState.OPENED)


def record_content(construct: Construct) -> dict[str, Any]:
    """What a signature under the record of one construct is bound to: every row of it, in plain values.

    What belongs to no construct yet is part of each record of the case. Five queries.
    """
    case = construct.case
    mine = (construct.pk, None)
    own = Brought.objects.filter(case=case, replaced_at__isnull=True).order_by("number")
    brought = own.select_related("component", "slot__plan_slot")
    explants = Explant.objects.filter(case=case, corrected_by__isnull=True).order_by("pk")
    decisions = SurgeonDecision.objects.filter(case=case).order_by("pk")
    stops = StopMoment.objects.filter(construct=construct).order_by("pk")
    return {
        "format": RECORD_FORMAT,
        "case": case.reference,
        "construct": [construct.number, construct.side],
        "brought": [_brought(one) for one in brought if one.construct_id in mine],
        "explants": [
            [one.what, one.di, one.lot, one.serial, one.reason, one.whereto, _moment(one.at)]
            for one in explants
            if one.construct_id in mine
        ],
        "decisions": [
            [one.over, one.about, one.surgeon_name, one.reason, _moment(one.at)]
            for one in decisions
            if one.construct_id in mine
        ],
        "stops": [[one.digest, one.said, _moment(one.at)] for one in stops],
    }  # fmt: skip


def _brought(one: Brought) -> list[Any]:
    return [
        one.number, one.slot.plan_slot.code if one.slot is not None else "",
        one.component.code if one.component is not None else "", one.described, bytes(one.raw).hex(),
        one.agency, one.di, one.pis, one.lot, one.serial, _day(one.expires), _day(one.made_on),
        one.typed_reason, one.source, one.overridden, one.override_reason, one.override_name,
        _moment(one.brought_at), _moment(one.opened_at), one.fate, one.why, one.why_words,
        _moment(one.fate_at),
        one.card,
    ]  # fmt: skip


def _moment(at: datetime | None) -> str | None:
    return at.isoformat() if at is not None else None


def _day(day: Any) -> str | None:
    return day.isoformat() if day is not None else None


def signings(case: Case) -> tuple[Shown, ...]:
    """Who stands under the records of a case, by construct and role; whether each signature still holds."""
    rows = list(
        RecordSigning.objects.filter(construct__case=case, replaced_at__isnull=True)
        .select_related("construct", "signature")
        .order_by("construct__number", "pk")
    )
    contents: dict[int, dict[str, Any]] = {}
    shown = []
    for row in rows:
        content = None
        if row.signature is not None:
            row.construct.case = case
            if row.construct_id not in contents:
                contents[row.construct_id] = record_content(row.construct)
            content = contents[row.construct_id]
        shown.append(
            Shown(
                pk=row.pk,
                construct_id=row.construct_id,
                role=row.role,
                name=row.name,
                at=row.signed_at,
                signed=row.signature is not None,
                holds=holds(row.signature, content)
                if row.signature is not None and content is not None
                else None,
                why=row.unsigned_why,
                meaning=row.signature.get_meaning_display() if row.signature is not None else "",
            )  # fmt: skip
        )
    return tuple(shown)


def signature_shows(row: RecordSigning) -> bool | None:
    """Whether a signature still holds: True, False where the record was changed since, None if unsigned."""
    if row.signature is None:
        return None
    return holds(row.signature, record_content(row.construct))


def unsigned(case: Case) -> tuple[tuple[Construct, str], ...]:
    """The records and roles that nobody has signed, or whose signature no longer holds."""
    good = {(one.construct_id, one.role) for one in signings(case) if one.holds}
    constructs = case.constructs.order_by("number")
    return tuple(
        (construct, role)
        for construct in constructs
        for role in WANTED_ROLES
        if (construct.pk, role) not in good
    )


def packs_in_room(case: Case) -> list[PackFor]:
    """Packs of the case that are neither sent away nor handed back, in order of their numbers (one query)."""
    rows = PackFor.objects.filter(
        case=case, returned_at__isnull=True, round=F("pack__round"), pack__state__in=IN_ROOM
    )
    return list(rows.select_related("pack__set__version__design", "pack__set__site").order_by("pack__number"))


def closing_waits(case: Case) -> tuple[Wait, ...]:
    """What the closing of a case waits for, in words, with the page where it is put right."""
    waits = []
    loose = list(
        Brought.objects.filter(case=case, replaced_at__isnull=True, fate="")
        .select_related("component__family")
        .order_by("number")
    )
    for one in loose:
        words = _("%(n)s, %(name)s: what became of it is not on file.") % {
            "n": one.number,
            "name": piece_name(one),
        }
        waits.append(Wait("no-fate", words, "theatre-implants"))
    packs = packs_in_room(case)
    if packs:
        names = ", ".join(row.pack.number for row in packs)
        words = ngettext(
            "Pack %(packs)s is still in the room.", "Packs %(packs)s are still in the room.", len(packs)
        ) % {"packs": names}
        waits.append(Wait("packs-in-room", words, "theatre-sign"))
    waits += _of_the_count(case)
    return tuple(waits)


def _of_the_count(case: Case) -> Iterable[Wait]:
    """What the count itself waits for, but for signatures: those are chased and keep no case open."""
    gaps = [gap for gap in count_gaps(case) if gap.code not in SIGNATURES]
    yield from (Wait(gap.code, gap.sentence, "theatre-count") for gap in gaps)
    ended = (StageState.CLOSED, StageState.NOT_DONE)
    finals = Stage.objects.filter(count__case=case, kind=StageKind.FINAL, state__in=ended)
    if not gaps and not finals.exists():
        yield Wait("final-stage-open", _("The final count is not closed."), "theatre-count")


def unsigned_waits(case: Case) -> tuple[Wait, ...]:
    """Signatures that are missing: the case may close without them, and they are chased."""
    several = case.constructs.count() > 1
    waits = []
    for construct, role in unsigned(case):
        label = SignRole(role).label
        words = (
            _("%(role)s has not signed construct %(n)s.") % {"role": label, "n": construct.number}
            if several
            else _("%(role)s has not signed.") % {"role": label}
        )
        waits.append(Wait("unsigned", words, "theatre-sign"))
    return tuple(waits)
