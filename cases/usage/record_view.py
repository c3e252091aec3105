"""The implant record of one construct as it is printed: frozen values, the site's zone, words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.dateformat import format as date_words
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.bookings.models import Case, Construct, PlanLink
from cases.picks.papers import IMPLANT_RECORD, number_of, sheet_code
from cases.picks.reading import position_words, short_date, short_moment
from cases.reservations.queries import at_site
from cases.usage.kinds import Shown
from cases.usage.models import Brought, Fate
from cases.usage.models_record import Explant, Said, SignRole, StopMoment, SurgeonDecision
from cases.usage.queries import brought_of, case_slots, piece_name
from cases.usage.queries_record import signings
from trays.catalogue.models import FamilyKind
from trays.catalogue.words import side_word, size_words
from trays.identifiers import gs1
from trays.identifiers.gs1 import Malformed
from trays.symbols.payload import PayloadRefused, checked


@dataclass(frozen=True, slots=True)
class Block:
    """One piece: a slot of the construct, and what stands on record of it; a blank one has its slot at most.

    `payload` is the GS1 element string of its UDI, "" where there is none to print as a symbol; `udi` the
    same, or another agency's, as text, a part to a line.
    """

    number: int
    slot: str
    name: str = ""
    maker: str = ""
    size: str = ""
    fate: str = ""
    time: str = ""
    lot: str = ""
    use_by: str = ""
    serial: str = ""
    why: str = ""
    card: str = ""
    scanned: str = ""
    notes: tuple[str, ...] = ()
    payload: str = ""
    udi: tuple[str, ...] = ()

    @property
    def filled(self) -> bool:
        return bool(self.name)


@dataclass(frozen=True, slots=True)
class StopView:
    """The stop before implanting: what is said aloud, and whether it was; when."""

    said: tuple[tuple[str, bool], ...]
    time: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class SignView:
    """One of the three who sign: printed name, moment, meaning, and how the signature stands now."""

    role: str
    name: str = ""
    time: str = ""
    meaning: str = ""
    state: str = ""


@dataclass(frozen=True, slots=True)
class RecordView:
    """One sheet. `filled`: from the record; else a form to write on."""

    number: str
    code: str
    filled: bool
    subject: str
    side: str
    reference: str
    day: str
    theatre: str
    position: str
    surgeon: str
    planned: str
    construct: str
    stop: StopView
    blocks: tuple[Block, ...]
    decisions: tuple[str, ...]
    explants: tuple[str, ...]
    signs: tuple[SignView, ...]
    caution: str
    printed: str
    language: str


def record_views(case: Case, *, at: datetime, blank: bool = False) -> tuple[RecordView, ...]:
    """A sheet for each construct of a case, in order. The same number of queries whatever was brought in."""
    constructs = list(case.constructs.order_by("number"))
    for one in constructs:
        one.case = case
    slots = case_slots(case)
    brought = [] if blank else brought_of(case)
    explants = (
        [] if blank else list(Explant.objects.filter(case=case, corrected_by__isnull=True).order_by("pk"))
    )
    decisions = [] if blank else list(SurgeonDecision.objects.filter(case=case).order_by("pk"))
    stops = (
        {}
        if blank
        else {
            one.construct_id: one
            for one in StopMoment.objects.filter(construct__case=case).select_related("by").order_by("pk")
        }
    )
    shown = () if blank else signings(case)
    position = position_words(case)
    joined = joined_slots(case)
    views = []
    for construct in constructs:
        own_slots = [slot.plan_slot.name for slot in slots if slot.construct_id == construct.pk]
        # What belongs to no construct yet stands on every sheet, as it does under every signature.
        mine = (construct.pk, None)
        own = [one for one in brought if one.construct_id in mine]
        views.append(
            RecordView(
                number=number_of(IMPLANT_RECORD, construct.pk),
                code=sheet_code(case.site, number_of(IMPLANT_RECORD, construct.pk)),
                filled=not blank,
                subject=case.procedure.name,
                side=side_word(construct.side),
                reference=case.reference,
                day=short_date(case.list.day),
                theatre=case.list.theatre.name,
                position=position,
                surgeon=case.surgeon.name if case.surgeon else _("not named"),
                planned=case.plan.detail or "–",
                construct=_("%(n)s of %(all)s") % {"n": construct.number, "all": len(constructs)},
                stop=_stop(stops.get(construct.pk), case, joined),
                blocks=_blank_blocks(own_slots) if blank else tuple(_block(one, case) for one in own),
                decisions=tuple(_decision(one, case) for one in decisions if one.construct_id in mine),
                explants=tuple(_explant(one) for one in explants if one.construct_id in mine),
                signs=_signs(shown, construct, case),
                caution=caution(),
                printed=short_moment(at, case.site),
                language=get_language() or "en-gb",
            )
        )  # fmt: skip
    return tuple(views)


def caution() -> str:
    """Stands at the foot of every implant record."""
    return _(
        "Scan before opening; keep the maker’s label. Write down what was implanted whatever the stock says. "
        "Card and registry follow local rules."
    )


def _blank_blocks(slots: Sequence[str]) -> tuple[Block, ...]:
    """The construct's slots, then blank ones: three on page one, four on each other, one on the last."""
    wanted = 4 * max(2, -(-(len(slots) + 2) // 4))
    names = [*slots, *[""] * (wanted - len(slots))]
    return tuple(Block(number, name) for number, name in enumerate(names, start=1))


def _clock(moment: datetime | None, case: Case) -> str:
    return date_words(at_site(moment, case.site), "H:i") if moment is not None else ""


def _block(one: Brought, case: Case) -> Block:
    component = one.component
    payload = udi_payload(one)
    consumable = component is not None and component.family.kind == FamilyKind.CONSUMABLE
    slot = one.slot.plan_slot.name if one.slot is not None else ""
    size = ""
    if component is not None and component.size:
        size = " ".join(word for word in (size_words(component), side_word(component.side)) if word)
    why = ": ".join(word for word in (str(one.get_why_display()) if one.why else "", one.why_words) if word)
    return Block(
        number=one.number,
        slot=slot or (_("consumable") if consumable else _("not in the plan")),
        name=component.family.name if component is not None and component.size else piece_name(one),
        maker=component.supplier.name if component is not None else "",
        size=size,
        fate=str(one.get_fate_display()) if one.fate else _("no fate yet"),
        time=_clock(one.fate_at, case),
        lot=one.lot,
        use_by=short_date(one.expires) if one.expires else "",
        serial=one.serial,
        why=why,
        card=str(one.get_card_display())
        if one.card
        else (_("not said") if one.fate == Fate.IMPLANTED else ""),
        scanned=_("typed: %(why)s") % {"why": one.typed_reason}
        if one.typed_reason
        else _clock(one.brought_at, case),
        notes=_notes(one),
        payload=payload,
        udi=udi_lines(one, payload),
    )


def _notes(one: Brought) -> tuple[str, ...]:
    notes = []
    if one.override_reason:
        words = {"name": one.override_name, "reason": one.override_reason}
        notes.append(_("taken all the same, %(name)s: %(reason)s") % words)
    if one.corrects_id is not None:
        notes.append(_("corrects an earlier entry"))
    if one.construct_id is None:
        notes.append(_("construct not said"))
    return tuple(notes)


def udi_payload(one: Brought) -> str:
    """The UDI as a GS1 element string, as it was read off the box; "" for what GS1 did not number or nobody
    scanned.
    """
    if one.agency != "GS1" or not one.di or one.typed_reason:
        return ""
    parts = [("01", one.di), *((key, value) for key, value in one.pis if key.isdigit())]
    try:
        return checked(gs1.build(parts))
    except (Malformed, PayloadRefused):
        return ""


def udi_lines(one: Brought, payload: str) -> tuple[str, ...]:
    """The UDI to read: a part to a line."""
    if payload:
        elements = gs1.parse(payload).elements
        return tuple(f"({element.ai}){element.value}" for element in elements)
    lines = [f"{one.agency} {one.di}".strip()] if one.di else []
    lines += [f"{key} {value}" for key, value in one.pis]
    raw = bytes(one.raw).decode("utf-8", "replace")
    if one.agency and one.agency != "GS1" and raw.isprintable() and raw:
        lines.append(raw)
    return tuple(lines)


def joined_slots(case: Case) -> str:
    """The pairs of slots that the plan joins, in words; "" where it joins none (one query)."""
    rows = PlanLink.objects.filter(plan_id=case.plan_id).order_by("slot_a__number", "slot_b__number")
    return ", ".join(f"{a}–{b}".lower() for a, b in rows.values_list("slot_a__name", "slot_b__name"))


def _stop(stop: StopMoment | None, case: Case, joined: str) -> StopView:
    said = set(stop.said) if stop is not None else set()
    told = {Said.PAIRS: f"{Said.PAIRS.label}: {joined}"} if joined else {}
    words = tuple((str(told.get(one, one.label)), one.value in said) for one in Said)
    if stop is None:
        return StopView(words)
    return StopView(words, _clock(stop.at, case), stop.by.name)


def _decision(one: SurgeonDecision, case: Case) -> str:
    return _("%(time)s %(name)s, over %(what)s Reason: %(reason)s") % {
        "time": _clock(one.at, case),
        "name": one.surgeon_name,
        "what": " ".join(one.about) or str(one.get_over_display()),
        "reason": one.reason,
    }


def _explant(one: Explant) -> str:
    parts = [one.what]
    parts += [f"{word} {value}" for word, value in ((_("lot"), one.lot), (_("serial"), one.serial)) if value]
    parts += [one.reason] if one.reason else []
    parts.append(str(one.get_whereto_display()))
    return "; ".join(parts)


def _signs(shown: Sequence[Shown], construct: Construct, case: Case) -> tuple[SignView, ...]:
    by_role = {one.role: one for one in shown if one.construct_id == construct.pk}
    return tuple(_sign(role, by_role.get(role.value), case) for role in SignRole)


def _sign(role: SignRole, one: Shown | None, case: Case) -> SignView:
    if one is None:
        return SignView(str(role.label))
    if not one.signed:
        state = _("not signed: %(why)s") % {"why": one.why}
    else:
        state = _("signature holds") if one.holds else _("changed since it was signed")
    return SignView(str(role.label), one.name, short_moment(one.at, case.site), one.meaning, state)
