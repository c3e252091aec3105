"""What a scan before opening is answered: this box, now, for this case. Nothing is changed by asking.

Sterile and in date? For this case? The right side? Does it go with what stands in the construct? Each "no" is
a remark with a plain sentence and a next step; what is taken all the same needs a name and a reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case, CaseSlot, Construct
from cases.usage import fit, queries
from cases.usage.kinds import Check, Level, Pair, Remark, Scanned
from cases.usage.models import Brought, Fate, Fits, Source
from cases.usage.which_unit import Naming
from trays.catalogue.models import Component, FamilyKind, Side
from trays.catalogue.queries import component_by_gtin
from trays.catalogue.words import side_in_text
from trays.parties.queries import site_day
from trays.stock import notices_open
from trays.stock.models import Pile, Unit
from trays.web.wording import sitetime

# What a "no" about a pair is called, and how it is said.
PAIR_CODES = {
    Fits.REFUSED: "pair-refused", Fits.CAUTION: "pair-caution", Fits.NOT_KNOWN: "pair-not-known",
}  # fmt: skip
# What no name and no reason gets past: another act is meant.
ASKED = ("another-one", "brought-already", "lot-not-read", "unit-not-on-file", "unknown-item")


def unit_check(
    *,
    case: Case,
    scanned: Scanned,
    at: datetime,
    construct: Construct | None = None,
    component: Component | None = None,
) -> Check:
    """Whether what was scanned may be opened for the case now, in words. At most 20 queries.

    `component` where a person has said what it is although its code is not on file.
    """
    return _Asked(case, scanned, at, construct, component).answer()


class _Asked:
    """One question about one label."""

    def __init__(
        self,
        case: Case,
        scanned: Scanned,
        at: datetime,
        construct: Construct | None,
        component: Component | None,
    ) -> None:
        self.case, self.scanned, self.at = case, scanned, at
        self.day: date = site_day(case.site, at)
        self.given = construct
        found = component_by_gtin(scanned.device) if scanned.device else None
        self.component = component or (found[0] if found else None)
        self.box_of = found[1] if found and component is None else 1
        self.brought = queries.brought_of(case)

    def answer(self) -> Check:
        component = self.component
        if component is None:
            return self._unknown()
        named = Naming(self.case, self.scanned, self.day, self.brought).of(component)
        construct, ask, side = self._construct(component)
        slot = self._slot(component, construct) if construct is not None else None
        pairs = self._pairs(component, construct, slot) if construct is not None else ()
        fits = fit.worst(pair.fits for pair in pairs)
        remarks = [
            *self._label(), *named.remarks, *side, *self._dates(named.unit, named.pile),
            *self._material(component), *self._recalled(component, named.unit),
            *self._in_plan(component, construct, slot),
            *_of_pairs(pairs),
        ]  # fmt: skip
        remarks.sort(key=lambda one: (one.code not in ASKED, one.level != Level.STOP))
        return Check(
            scanned=self.scanned, source=named.source, component=component, unit=named.unit, pile=named.pile,
            construct=construct, slot=slot, ask=ask, fits=fits, pairs=pairs, remarks=tuple(remarks),
            name=queries.component_name(component),
        )  # fmt: skip

    def _unknown(self) -> Check:
        constructs = list(self.case.constructs.order_by("number"))
        construct = self.given or (constructs[0] if len(constructs) == 1 else None)
        code = self.scanned.device or self.scanned.described or _("without a code")
        remark = Remark(
            "unknown-item",
            Level.STOP,
            _("No component with the code %(code)s is on file.") % {"code": code},
            _("If it is used, take it down as it is, in words; stores are told to find out what it was."),
        )
        ask = () if construct is not None else tuple(constructs)
        return Check(
            scanned=self.scanned, source=Source.UNKNOWN_CODE, component=None, unit=None, pile=None,
            construct=construct, slot=None, ask=ask, fits=Fits.NOT_KNOWN, pairs=(),
            remarks=(remark, *self._label()), name=self.scanned.described or code,
        )  # fmt: skip

    # The label itself

    def _label(self) -> list[Remark]:
        said = []
        if not self.scanned.lot and not self.scanned.serial:
            said.append(queries.no_lot())
        if self.box_of > 1:
            said.append(
                Remark(
                    "box-of-several",
                    Level.CAUTION,
                    ngettext(
                        "This is the code of a box of %(n)s.",
                        "This is the code of a box of %(n)s.",
                        self.box_of,
                    )
                    % {"n": self.box_of},
                    _("Scan the code on the single pack that is opened."),
                )
            )
        if self.scanned.typed:
            words = _("Typed by hand: it will be marked so.")
            said.append(Remark("typed", Level.NOTE, words))
        return said

    # Side and slot

    def _construct(
        self, component: Component
    ) -> tuple[Construct | None, tuple[Construct, ...], list[Remark]]:
        constructs = list(self.case.constructs.order_by("number"))
        own = next((one for one in constructs if self.given is not None and one.pk == self.given.pk), None)
        fitting = [
            one for one in constructs if Side.NONE in (one.side, component.side) or one.side == component.side
        ]
        if own is not None:
            wrong = own not in fitting
            return own, (), [queries.wrong_side(component.side, own.side, Level.STOP)] if wrong else []
        if component.family.kind == FamilyKind.CONSUMABLE:
            return (constructs[0] if len(constructs) == 1 else None), (), []
        if not fitting:
            wrong_one = queries.wrong_side(component.side, constructs[0].side, Level.STOP)
            single = constructs[0] if len(constructs) == 1 else None
            return single, (() if single else tuple(constructs)), [wrong_one]
        return (fitting[0], (), []) if len(fitting) == 1 else (None, tuple(fitting), [])

    def _slot(self, component: Component, construct: Construct) -> CaseSlot | None:
        """The slot it would stand in: of its family, else one that may have its family; empty ones first."""
        if component.family.kind == FamilyKind.CONSUMABLE:
            return None
        slots = [slot for slot in self._slots() if slot.construct_id == construct.pk]
        plan = self._plan()
        tiers: tuple[list[CaseSlot], ...] = (
            [slot for slot in slots if slot.family_id == component.family_id],
            [slot for slot in slots if component.family_id in plan.families.get(slot.plan_slot_id, ())],
            [
                slot
                for slot in slots
                if component.family.slot and slot.plan_slot.code == component.family.slot
            ],
        )
        filled = {one.slot_id for one in self.brought if one.fate == Fate.IMPLANTED}
        begun = {one.slot_id for one in self.brought if not one.fate}
        for tier in tiers:
            if tier:
                return min(tier, key=lambda slot: (slot.pk in filled, slot.pk in begun, slot.occurrence))
        return None

    def _in_plan(
        self, component: Component, construct: Construct | None, slot: CaseSlot | None
    ) -> list[Remark]:
        if component.family.kind == FamilyKind.CONSUMABLE or construct is None:
            return []
        if slot is None:
            words = _("%(family)s is not in the plan of this operation.") % {"family": component.family.name}
            return [Remark("not-in-plan", Level.CAUTION, words)]
        before = [
            one for one in self.brought
            if one.slot_id == slot.pk and not one.fate and one.component_id is not None
        ]  # fmt: skip
        return [
            Remark(
                "slot-has-another",
                Level.NOTE,
                _("%(slot)s: %(name)s was brought in for it and has no fate yet.")
                % {"slot": slot.plan_slot.name, "name": queries.piece_name(one)},
                _("Say what became of it."),
            )
            for one in before
        ]

    def _slots(self) -> list[CaseSlot]:
        if not hasattr(self, "_kept_slots"):
            self._kept_slots = queries.case_slots(self.case)
        return self._kept_slots

    def _plan(self) -> queries.Plan:
        if not hasattr(self, "_kept_plan"):
            self._kept_plan = queries.plan_of(self.case)
        return self._kept_plan

    # The construct so far

    def _pairs(self, component: Component, construct: Construct, slot: CaseSlot | None) -> tuple[Pair, ...]:
        """The whole construct with this piece in its place; what stood in its slot before steps aside."""
        if component.family.kind == FamilyKind.CONSUMABLE:
            return ()
        own = [one for one in self.brought if one.construct_id == construct.pk and queries.is_implant(one)]
        standing = _standing(own, slot)
        plan = self._plan()
        families = {one.component.family_id for one in standing if one.component} | {component.family_id}
        rules = queries.rules_on(families, self.day)
        new = fit.Piece(
            0, component.family_id, component.size_rank,
            slot.plan_slot.code if slot is not None else component.family.slot,
        )  # fmt: skip
        names = {one.pk: queries.piece_name(one) for one in standing} | {0: queries.component_name(component)}
        return queries.pairs_said([*map(queries.piece_of, standing), new], names, plan, rules)

    # Dates and notices

    def _dates(self, unit: Unit | None, pile: Pile | None) -> list[Remark]:
        kept = (unit or pile).expires if unit or pile else None  # type: ignore[union-attr]
        label = self.scanned.expires
        days = [day for day in (kept, label) if day is not None]
        said = []
        if days and min(days) < self.day:
            said.append(queries.out_of_date(min(days), Level.STOP))
        if kept is not None and label is not None and kept != label:
            said.append(
                Remark(
                    "dates-differ",
                    Level.CAUTION,
                    _("The label says use by %(label)s, the record %(record)s.")
                    % {"label": sitetime(label, "date"), "record": sitetime(kept, "date")},
                    _("Go by the label; stores are told."),
                )
            )
        return said

    def _material(self, component: Component) -> list[Remark]:
        material = component.family.material
        if not material or material.casefold() not in queries.materials_avoided(self.case):
            return []
        return [
            Remark(
                "material",
                Level.STOP,
                _("It is of %(material)s, which this case is to avoid.") % {"material": material},
                _("Do not open it; ask the surgeon for the other material."),
            )
        ]

    def _recalled(self, component: Component, unit: Unit | None) -> list[Remark]:
        lot = unit.lot if unit is not None else self.scanned.lot
        notices = notices_open.naming(component_id=component.pk, lot=lot)
        if not notices:
            return []
        return [
            Remark(
                "recalled",
                Level.STOP,
                _("Safety notice %(number)s names this lot.") % {"number": notices[0].number},
                _("Do not open it; set it aside for stores."),
            )
        ]


def _standing(own: Iterable[Brought], slot: CaseSlot | None) -> list[Brought]:
    """One piece for each slot: what is implanted, else what came last; and those without a slot."""
    by_slot: dict[int, Brought] = {}
    loose = []
    for one in own:
        if one.fate not in queries.STANDING or (slot is not None and one.slot_id == slot.pk):
            continue
        if one.slot_id is None:
            loose.append(one)
        elif one.slot_id not in by_slot or by_slot[one.slot_id].fate != Fate.IMPLANTED:
            by_slot[one.slot_id] = one
    return [*by_slot.values(), *loose]


def _of_pairs(pairs: Iterable[Pair]) -> list[Remark]:
    """What the rules say of this piece and of the others with it; the worst first."""
    said = []
    for pair in sorted(pairs, key=lambda one: -fit.ORDER.index(Fits(one.fits))):
        if pair.fits == Fits.ALLOWED:
            continue
        mine = 0 in (pair.a_brought, pair.b_brought)
        said.append(
            Remark(
                PAIR_CODES[Fits(pair.fits)],
                Level.STOP if mine else Level.NOTE,
                pair.sentence,
                _("Take another size; or it is the surgeon’s decision, with name and reason.")
                if mine
                else "",
            )
        )
    return said


def side_words(construct: Construct) -> str:
    """A construct as people call it."""
    side = side_in_text(construct.side)
    return side or _("construct %(n)s") % {"n": construct.number}
