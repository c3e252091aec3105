"""What the pages of implants show: each construct with its pieces, what is said of them, and what is open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case, Construct
from cases.usage import queries
from cases.usage.forms import construct_words
from cases.usage.kinds import ConstructCheck, Level, Pair, Remark
from cases.usage.models import Brought, Fate, Fits, Mark
from cases.usage.models_record import Explant, StopMoment, SurgeonDecision
from trays.catalogue.words import side_word, size_words

ICONS = {
    Fits.ALLOWED: "accepted", Fits.CAUTION: "differs", Fits.REFUSED: "refused", Fits.NOT_KNOWN: "v-unknown",
    Fits.NO_PAIR: "v-unknown",
}  # fmt: skip
K = Mark.Kind
# Marks that are said aloud at the stop: of the piece itself, not of how it was booked.
ALOUD = (
    K.OUT_OF_DATE, K.NOT_RELEASED, K.RECALLED, K.WRONG_SIDE, K.NO_FIT, K.NO_LOT, K.UNKNOWN_CODE, K.TYPED,
    K.SEEN_BEFORE, K.ANOTHER_LOT,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing that was brought to the table, as a page shows it."""

    brought: Brought
    remarks: tuple[Remark, ...] = ()
    marks: tuple[Mark, ...] = ()
    no_card: bool = False

    @property
    def family(self) -> str:
        """What it is, without its size."""
        one = self.brought
        return one.component.family.name if one.component else queries.piece_name(one)

    @property
    def size(self) -> str:
        """Its size in large; "" for what nobody knows."""
        return size_words(self.brought.component) if self.brought.component else ""

    @property
    def side(self) -> str:
        """The side of the piece itself."""
        return side_word(self.brought.component.side) if self.brought.component else ""

    @property
    def state(self) -> str:
        """sealed, opened or ended."""
        if self.brought.fate:
            return "ended"
        return "opened" if self.brought.opened else "sealed"

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is to be said of it at the stop before implanting."""
        said = [one.sentence for one in self.remarks if one.level != Level.NOTE]
        said += [f"{one.get_kind_display()}." for one in self.marks if one.kind in ALOUD and not said]
        return tuple(said)

    @property
    def card_due(self) -> bool:
        """Whether it is still to be said if the patient's card was given."""
        return self.brought.fate == Fate.IMPLANTED and not self.brought.card and not self.no_card


@dataclass(frozen=True, slots=True)
class SlotRow:
    """A slot of a construct with its pieces, the one that stands in it first."""

    name: str
    needed: bool
    pieces: tuple[Piece, ...]

    @property
    def standing(self) -> Piece | None:
        """What counts for the construct."""
        first = self.pieces[0] if self.pieces else None
        return first if first is not None and first.brought.fate in queries.STANDING else None


@dataclass(frozen=True, slots=True)
class Part:
    """One construct: its answer, its slots, what stands in none of them, and what was decided over it."""

    check: ConstructCheck
    slots: tuple[SlotRow, ...]
    loose: tuple[Piece, ...]
    decisions: tuple[SurgeonDecision, ...] = ()
    explants: tuple[Explant, ...] = ()
    stop: StopMoment | None = None

    @property
    def construct(self) -> Construct:
        return self.check.construct

    @property
    def side(self) -> str:
        """The side in large; the construct's number where it has none."""
        return construct_words(self.construct)

    @property
    def standing(self) -> tuple[Piece, ...]:
        """All that counts for the construct."""
        slots = tuple(row.standing for row in self.slots)
        loose = (one for one in self.loose if one.brought.fate in queries.STANDING)
        return (*(one for one in slots if one is not None), *loose)

    @property
    def icon(self) -> str:
        return ICONS[Fits(self.check.fits)]

    @property
    def answer(self) -> str:
        """What the rules on file say of the whole of it."""
        return {
            Fits.ALLOWED: _("Every pair that plan or rule joins is allowed by the hospital’s fit rules."),
            Fits.CAUTION: _("With caution, by the hospital’s fit rules."),
            Fits.REFUSED: _("Refused by the hospital’s fit rules."),
            Fits.NOT_KNOWN: _("Not known: the hospital’s fit rules do not say it of every pair."),
            Fits.NO_PAIR: _("Nothing to compare yet."),
        }[Fits(self.check.fits)]

    @property
    def doubtful(self) -> tuple[Pair, ...]:
        return self.check.doubtful

    @property
    def undecided(self) -> bool:
        """Whether something speaks against a pair and nobody has decided over it yet."""
        if not self.doubtful:
            return False
        newest = max((one.brought.recorded_at for one in self.standing), default=None)
        return not any(newest is not None and one.recorded_at >= newest for one in self.decisions)

    @property
    def stop_holds(self) -> bool:
        """Whether the construct is still the one that was read aloud at the stop."""
        newest = max((one.brought.recorded_at for one in self.standing), default=None)
        return self.stop is not None and (newest is None or self.stop.recorded_at >= newest)


@dataclass(frozen=True, slots=True)
class Implants:
    """All that was brought to the table of one case."""

    parts: tuple[Part, ...]
    loose: tuple[Piece, ...]
    explants: tuple[Explant, ...]
    decisions: tuple[SurgeonDecision, ...] = ()
    before: tuple[Brought, ...] = ()
    by_pk: Mapping[int, Piece] = field(default_factory=dict)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        return tuple(self.by_pk.values())

    @property
    def without_fate(self) -> tuple[Piece, ...]:
        return tuple(one for one in self.pieces if not one.brought.fate)

    @property
    def says(self) -> tuple[str, str]:
        """What the page comes to: what stands, then what is open."""
        wanted = sum(row.needed for part in self.parts for row in part.slots)
        there = sum(row.needed and row.standing is not None for part in self.parts for row in part.slots)
        stands = ngettext(
            "%(there)s of %(wanted)s part that is always used is here.",
            "%(there)s of %(wanted)s parts that are always used are here.",
            wanted,
        ) % {"there": there, "wanted": wanted}
        if not self.pieces:
            return stands, ""
        open_ = len(self.without_fate)
        if not open_:
            return stands, _("Every box has its fate.")
        return stands, ngettext(
            "%(n)s box without a fate.", "%(n)s boxes without a fate.", open_
        ) % {"n": open_}


def implants_of(case: Case) -> Implants:
    """The picture of a case. 14 queries: what `construct_check` asks (7), pieces, corrected ones, marks,
    decisions, explants, stop moments, slots without a card.
    """
    checks = queries.construct_check(case)
    brought = queries.brought_of(case)
    marks: dict[int, list[Mark]] = defaultdict(list)
    for mark in queries.marks_of(case):
        if mark.brought_id is not None and mark.cleared_at is None:
            marks[mark.brought_id].append(mark)
    remarks = {pk: said for check in checks for pk, said in check.remarks.items()}
    exempt = queries.exempt_slots(case.site_id)
    pieces = {
        one.pk: Piece(
            one,
            remarks.get(one.pk) or queries.remarks_on(case, one),
            tuple(marks[one.pk]),
            _slot_code(one) in exempt or not queries.is_implant(one),
        )
        for one in brought
    }
    explants = tuple(_in_force(Explant.objects.filter(case=case).order_by("pk")))
    decisions = list(SurgeonDecision.objects.filter(case=case).order_by("pk"))
    stops = {
        one.construct_id: one
        for one in StopMoment.objects.filter(construct__case=case).select_related("by").order_by("pk")
    }
    return Implants(
        parts=tuple(_part(check, pieces, decisions, explants, stops) for check in checks),
        loose=tuple(one for one in pieces.values() if one.brought.construct_id is None),
        explants=explants,
        decisions=tuple(decisions),
        before=tuple(queries.brought_before(case)),
        by_pk=pieces,
    )


def _slot_code(brought: Brought) -> str:
    if brought.slot is not None:
        return brought.slot.plan_slot.code
    return brought.component.family.slot if brought.component else ""


def _in_force(explants: Iterable[Explant]) -> list[Explant]:
    rows = list(explants)
    corrected = {one.corrects_id for one in rows}
    return [one for one in rows if one.pk not in corrected]


def _part(
    check: ConstructCheck,
    pieces: Mapping[int, Piece],
    decisions: Sequence[SurgeonDecision],
    explants: Sequence[Explant],
    stops: Mapping[int, StopMoment],
) -> Part:
    own = [one for one in pieces.values() if one.brought.construct_id == check.construct.pk]
    slots = []
    for state in check.slots:
        standing = state.brought.pk if state.brought else None
        here = [one for one in own if one.brought.slot_id == state.slot.pk]
        # What stands in it, then what has no fate, then what ended otherwise.
        here.sort(key=lambda one: (one.brought.pk != standing, bool(one.brought.fate), one.brought.number))
        slots.append(SlotRow(state.name, state.needed, tuple(here)))
    return Part(
        check=check,
        slots=tuple(slots),
        loose=tuple(one for one in own if one.brought.slot_id is None),
        decisions=tuple(one for one in decisions if one.construct_id in (check.construct.pk, None)),
        explants=tuple(one for one in explants if one.construct_id == check.construct.pk),
        stop=stops.get(check.construct.pk),
    )
