"""What is said and decided before implanting, and what came out: stop moment, surgeon's word, explants."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case, Construct
from cases.reservations import locking
from cases.usage.kinds import ConstructCheck, Scanned
from cases.usage.marking import in_theatre, mark_within, right_marked
from cases.usage.models import Brought, Fits, MarkKind
from cases.usage.models_record import Explant, Said, StopMoment, SurgeonDecision, Whereto
from cases.usage.queries import construct_check, piece_name
from cases.usage.within import is_late, moment
from trays.catalogue.queries import component_by_gtin
from trays.ledger.append import Line, canonical_text, record
from trays.ledger.once import act_once
from trays.staff.models import Person
from trays.web.errors import Refusal


def stop_moment_record(
    *,
    by: Person,
    construct: Construct,
    said: Sequence[str],
    at: datetime,
    note: str = "",
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> StopMoment:
    """Take down the stop before implanting: what was said aloud, and the construct as it stood, kept with it.

    An incomplete construct is kept as such. Raises Refusal "nothing-said"; NotAllowed "not-your-act".
    """
    case = construct.case
    own_role = in_theatre(by=by, site_id=case.site_id)
    ticked = [one for one in Said.values if one in said]
    if not ticked:
        raise Refusal("nothing-said", _("Nothing is ticked."), _("Tick what was said aloud, boxes in view."))

    def work() -> StopMoment:
        locking.lock(cases=[case.pk])
        picture = next(one for one in construct_check(case) if one.construct.pk == construct.pk)
        text = canonical_text(summary(picture))
        made = StopMoment.objects.create(
            construct=construct, said=ticked, fits=picture.fits, complete=picture.complete, content=text,
            digest=hashlib.sha256(text.encode()).hexdigest(), note=note.strip()[:200],
            at=moment(happened_at, at), recorded_at=at, by=by,
        )  # fmt: skip
        lines = [Line("stop_moment", made.pk, "", made.fits)]
        lines += _late(case, made.at, by, at) + right_marked(own_role=own_role, case=case, by=by, at=at)
        _record(case, "stop_moment.record", by, at, happened_at, client_key, {"stop_moment": made.pk}, lines)
        return made

    return act_once(
        verb="stop_moment.record", by=by, client_key=client_key, work=work,
        replay=lambda answer: StopMoment.objects.get(pk=answer["stop_moment"]),
    )  # fmt: skip


def summary(picture: ConstructCheck) -> dict[str, Any]:
    """A construct as plain values: what stands in each slot, what is said of each pair, what is missing."""

    def piece(one: Brought | None) -> list[Any] | None:
        if one is None:
            return None
        return [
            one.number,
            piece_name(one),
            one.lot,
            one.serial,
            one.expires.isoformat() if one.expires else None,
        ]

    return {
        "format": 1,
        "construct": [picture.construct.number, picture.construct.side],
        "fits": picture.fits,
        "slots": [[state.name, piece(state.brought)] for state in picture.slots],
        "extra": [piece(one) for one in picture.extra],
        "pairs": [[pair.a, pair.b, pair.fits, pair.source] for pair in picture.pairs],
        "missing": list(picture.missing),
    }


def decision_record(
    *,
    by: Person,
    case: Case,
    construct: Construct | None,
    surgeon_name: str,
    reason: str,
    at: datetime,
    surgeon: Person | None = None,
    brought: Brought | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> SurgeonDecision:
    """Take down the surgeon's decision over what the rules say of the construct as it stands.

    Raises Refusal "decision-unnamed" without a name or a reason, "nothing-to-decide" where every pair is
    allowed; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    name = (surgeon.name if surgeon is not None else surgeon_name).strip()
    if not name or not reason.strip():
        raise Refusal(
            "decision-unnamed",
            _("A decision over a caution has a name and a reason."),
            _("Give the surgeon’s name, and the reason in a few words."),
        )

    def work() -> SurgeonDecision:
        locking.lock(cases=[case.pk])
        over, about = _against(case, construct, brought)
        made = SurgeonDecision.objects.create(
            case=case, construct=construct, brought=brought, over=over, about=about, surgeon=surgeon,
            surgeon_name=name[:120], reason=reason.strip()[:200], at=moment(happened_at, at),
            recorded_at=at, by=by,
        )  # fmt: skip
        lines = [Line("surgeon_decision", made.pk, "", over)]
        lines += _late(case, made.at, by, at) + right_marked(own_role=own_role, case=case, by=by, at=at)
        _record(case, "decision.record", by, at, happened_at, client_key, {"decision": made.pk}, lines)
        return made

    return act_once(
        verb="decision.record", by=by, client_key=client_key, work=work,
        replay=lambda answer: SurgeonDecision.objects.get(pk=answer["decision"]),
    )  # fmt: skip


def _against(case: Case, construct: Construct | None, brought: Brought | None) -> tuple[str, list[str]]:
    """The worst verdict that the decision is about, and the pairs in words."""
    pairs = [
        pair
        for picture in construct_check(case)
        if construct is None or picture.construct.pk == construct.pk
        for pair in picture.doubtful
        if brought is None or brought.pk in (pair.a_brought, pair.b_brought)
    ]
    if not pairs:
        raise Refusal(
            "nothing-to-decide",
            _("Nothing here speaks against the construct as it stands."),
            _("Load the page again."),
        )
    over = next(
        one for one in (Fits.REFUSED, Fits.CAUTION, Fits.NOT_KNOWN) if any(pair.fits == one for pair in pairs)
    )
    return str(over), [pair.sentence for pair in pairs]


def explant_record(
    *,
    by: Person,
    case: Case,
    construct: Construct | None,
    what: str,
    at: datetime,
    scanned: Scanned | None = None,
    reason: str = "",
    whereto: str = Whereto.NOT_SAID,
    corrects: Explant | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Explant:
    """Take down what was taken out of an earlier operation; `corrects` an entry that was wrong.

    Raises Refusal "say-what-it-is", "corrected-meanwhile"; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    label = scanned or Scanned()
    if not what.strip():
        raise Refusal(
            "say-what-it-is",
            _("The record would not say what was taken out."),
            _("Write what it is, with maker and size if they can be read."),
            field="what",
        )

    def work() -> Explant:
        locking.lock(cases=[case.pk])
        if corrects is not None and Explant.objects.filter(corrects=corrects).exists():
            raise Refusal(
                "corrected-meanwhile", _("This entry has been corrected already."), _("Load the page again.")
            )
        found = component_by_gtin(label.device) if label.device else None
        made = Explant.objects.create(
            case=case, construct=construct, what=what.strip()[:160], component=found[0] if found else None,
            raw=label.raw, agency=label.agency, di=label.device, lot=label.lot, serial=label.serial,
            reason=reason.strip()[:200], whereto=whereto, at=moment(happened_at, at), recorded_at=at, by=by,
            corrects=corrects,
        )  # fmt: skip
        lines = [Line("explant", made.pk, str(corrects.pk) if corrects else "", made.whereto)]
        lines += _late(case, made.at, by, at) + right_marked(own_role=own_role, case=case, by=by, at=at)
        _record(case, "explant.record", by, at, happened_at, client_key, {"explant": made.pk}, lines)
        return made

    return act_once(
        verb="explant.record", by=by, client_key=client_key, work=work,
        replay=lambda answer: Explant.objects.get(pk=answer["explant"]),
    )  # fmt: skip


def _late(case: Case, happened_at: datetime, by: Person, at: datetime) -> list[Line]:
    if not is_late(case, happened_at, at):
        return []
    return [mark_within(case=case, kind=MarkKind.LATE, by=by, at=at)]


def _record(
    case: Case,
    verb: str,
    by: Person,
    at: datetime,
    happened_at: datetime | None,
    client_key: UUID | None,
    answer: dict[str, int],
    lines: list[Line],
) -> None:
    record(
        chain=case.site.code, verb=verb, by=by, at=at, happened_at=happened_at,
        place_id=case.list.theatre_id, client_key=client_key, answer=answer, lines=lines,
    )  # fmt: skip
