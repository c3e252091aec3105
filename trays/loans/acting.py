"""How each act on one loan is done: once, packs and units locked before it, its event written last."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.instruments.models import Pack
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.models import Loan
from trays.loans.moving import lock_loan
from trays.processing.moving import lock_packs
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.moving import lock_units
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Who:
    """Who acts, when, and the key by which the same press is known again."""

    by: Person
    at: datetime
    key: UUID | None = None


@dataclass(frozen=True, slots=True)
class Locked:
    """One loan with the packs of its sets and its sealed units, all locked for the act."""

    loan: Loan
    packs: tuple[Pack, ...] = ()
    units: tuple[Unit, ...] = ()


def act_on(
    loan: Loan,
    who: Who,
    verb: str,
    change: Callable[[Locked], list[Line]],
    *,
    things: bool = False,
    reason: str = "",
    place_id: int | None = None,
) -> Loan:
    """Do one act on a loan. With `things` its packs and units are locked too, before the loan itself."""

    def work() -> Loan:
        locked = lock_all(loan.pk) if things else Locked(lock_loan(loan.pk))
        lines = change(locked)
        record(
            chain=locked.loan.site.code, verb=verb, by=who.by, at=who.at, reason=reason, place_id=place_id,
            client_key=who.key, answer={"loan": loan.pk}, lines=lines,
        )  # fmt: skip
        return locked.loan

    return act_once(
        verb=verb,
        by=who.by,
        client_key=who.key,
        work=work,
        replay=lambda answer: Loan.objects.get(pk=answer["loan"]),
    )


def lock_all(pk: int) -> Locked:
    """The loan with all that came with it and has not ended; packs first, then units, then the loan."""
    packs = lock_packs(
        Pack.objects.filter(set__loan_sets__loan=pk, set__loan_sets__open=True).values_list("pk", flat=True)
    )
    units = lock_units(
        Unit.objects.filter(loan_units__loan=pk, loan_units__open=True).values_list("pk", flat=True)
    )
    loan = lock_loan(pk)
    # Read before the loan was locked: one may have come in meanwhile.
    if set(loan.units.filter(open=True).values_list("unit_id", flat=True)) != {unit.pk for unit in units}:
        raise Refusal(
            "changed-meanwhile",
            _("Something of this loan came in at this moment."),
            _("Load the page again and look at it once more."),
        )
    return Locked(loan, tuple(packs), tuple(units))
