"""Shapes that bookings hand in and out: frozen values, no reading and no writing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple, Protocol

from django.db import models
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case, PlanSlot, ProcedurePlan
from trays.catalogue.models import Family, Side
from trays.ledger.append import Line
from trays.staff.models import Person

# Where a prediction or a family belongs: the construct's side and the plan slot's code.
SlotKey = tuple[str, str]


class CancelReason(models.TextChoices):
    """Why a case is taken off its list. None of them says anything about who the patient is."""

    UNWELL = "patient_unwell", _("The patient is not well enough")
    DECLINED = "patient_declined", _("The patient does not wish it, or did not come")
    TREATED_OTHERWISE = "treated_otherwise", _("Treated otherwise, or elsewhere")
    NO_BED = "no_bed", _("No bed")
    NO_STAFF = "no_staff", _("No staff")
    NO_TIME = "no_time", _("The list has no time left")
    EMERGENCY_FIRST = "emergency_first", _("An emergency took its place")
    NOTHING_TO_USE = "set_or_size_missing", _("A set or a size is not there")
    BOOKED_IN_ERROR = "booked_in_error", _("Booked in error")


@dataclass(frozen=True, slots=True)
class PredictedSize:
    """What somebody expects: ranks of the family's sizes, both ends included; one size has both alike.

    `method` is a Prediction.Method value; `confidence` lies above 0 and up to 1, None if nobody said.
    """

    low_rank: int
    high_rank: int
    method: str
    confidence: float | None = None
    planner: Person | None = None


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to know about an act that was done all the same."""

    code: str
    sentence: str


class Follow(Protocol):
    """What a higher room does in the same act when cases have got other times: ledger lines, notices.

    Rooms above keep things for cases from one moment to another; this room does not know them.
    """

    def __call__(
        self, *, cases: Sequence[Case], by: Person, at: datetime
    ) -> tuple[tuple[Line, ...], tuple[Notice, ...]]: ...


@dataclass(frozen=True, slots=True)
class Booked:
    """A case as an act left it, what to know about it, and the ledger lines of that act."""

    case: Case
    notices: tuple[Notice, ...] = ()
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Reordered:
    """The cases of a list in their new order."""

    cases: tuple[Case, ...]
    notices: tuple[Notice, ...] = ()


class SizeMark(NamedTuple):
    """One size of a family: its rank, and the word people use for it."""

    rank: int
    label: str


@dataclass(frozen=True, slots=True)
class FamilySheet:
    """A family that may fill a slot, with its sizes by side ("none" for a family without sides)."""

    family: Family
    contingency: bool
    sizes: Mapping[str, tuple[SizeMark, ...]]

    def fits(self, side: str) -> bool:
        """Whether it can be used in a construct of this side: a sided family needs a side."""
        return not self.family.sided or side != Side.NONE

    def marks(self, side: str) -> tuple[SizeMark, ...]:
        """Its sizes for a construct of this side, lowest first."""
        return self.sizes.get(side if self.family.sided else Side.NONE, ())


@dataclass(frozen=True, slots=True)
class SlotSheet:
    """A plan's slot with its families in the order they are tried."""

    slot: PlanSlot
    families: tuple[FamilySheet, ...]

    def fitting(self, side: str) -> tuple[FamilySheet, ...]:
        """The families to choose from for a construct of this side, those kept in reserve left out."""
        return tuple(one for one in self.families if not one.contingency and one.fits(side))

    def of(self, family: Family) -> FamilySheet | None:
        """This family's sheet, if the plan allows it in the slot at all."""
        return next((one for one in self.families if one.family.pk == family.pk), None)


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """A procedure plan with its slots in order."""

    plan: ProcedurePlan
    slots: tuple[SlotSheet, ...]

    def slot(self, code: str) -> SlotSheet | None:
        return next((one for one in self.slots if one.slot.code == code), None)

    def of(self, plan_slot_id: int) -> SlotSheet | None:
        return next((one for one in self.slots if one.slot.pk == plan_slot_id), None)


@dataclass(frozen=True, slots=True)
class PlanBook:
    """Plans by (procedure id, surgeon id or None for all surgeons)."""

    sheets: Mapping[tuple[int, int | None], PlanSheet]

    def sheet_for(self, procedure_id: int, surgeon_id: int | None) -> PlanSheet | None:
        """The surgeon's own plan, else the one for all, else None."""
        own = self.sheets.get((procedure_id, surgeon_id)) if surgeon_id is not None else None
        return own or self.sheets.get((procedure_id, None))
