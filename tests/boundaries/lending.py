"""A loan that is asked for, a charge and an agreement: what the addresses of loans point at."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from tests.world import World
from trays.loans.asking import LoanWish, loan_ask
from trays.loans.models_agreements import Agreement, AgreementLine
from trays.loans.models_charges import LoanCharge


def furnish_loans(world: World) -> dict[str, Any]:
    """Few rows, since every address is tried with them; what the acts do is tried beside the room's tests."""
    now, keeper = timezone.now(), world.cast.keeper
    wish = LoanWish(
        supplier=world.supplier, designs=[(world.designs["blocks-large"], 1)],
        items=[(world.component("tibial", "2"), 1)], needed_from=now + timedelta(days=9),
        needed_until=now + timedelta(days=9, hours=2),
    )  # fmt: skip
    loan = loan_ask(by=keeper, site=world.site, wish=wish, at=now)
    charge = LoanCharge.objects.create(
        loan=loan, kind="hire", amount=Decimal(320), currency="GBP", claimed_at=now, claimed_by=keeper
    )
    agreement = Agreement.objects.create(
        code="CA-1", site=world.site, supplier=world.supplier, valid_from=now.date() - timedelta(days=9)
    )
    component = world.component("tibial", "2")
    AgreementLine.objects.create(agreement=agreement, component=component, quantity=2)
    return {
        "loan": loan.pk,
        "loan_set": loan.sets.get().pk,
        "loan_charge": charge.pk,
        "loan_promised": (now + timedelta(days=2)).strftime("%Y-%m-%dT%H:%M"),
        "agreement": agreement.pk,
        "loan_shelf": world.shelf.pk,
    }
