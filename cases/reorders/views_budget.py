"""The page "Best for a budget": what an amount buys in whole cases."""

from decimal import Decimal
from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.reorders.best_buys import best_buys, currency_of
from cases.reorders.demand import site_facts
from cases.reorders.forms import BudgetForm
from cases.reorders.reasons_budget import how_sure, left_out, says
from cases.reorders.tables_budget import BuyTable, buy_lines
from trays.places.choose import site_choice
from trays.staff.access import may
from trays.staff.models import Person
from trays.web.acting import KeyForm, new_key
from trays.web.table import answer_table

FIRST_AMOUNT = Decimal(5)
"""Units that the page starts with."""


@require_safe
def budget(request: HttpRequest) -> HttpResponse:
    """What to buy for an amount so that, on average, the most booked cases find their components."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_reorders", by=by)
    at = timezone.now()
    facts = site_facts(site=choice.site, at=at)
    currency = currency_of(facts.items)
    given = "amount" in request.GET or "of" in request.GET
    form = BudgetForm(request.GET if given else {"amount": FIRST_AMOUNT, "of": "units"}, currency=currency)
    found = (
        best_buys(facts, amount=form.cleaned_data["amount"], currency=form.currency)
        if form.is_valid()
        else None
    )
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "form": form,
        "found": found,
        "says": says(found) if found else _("Give an amount to see what it buys."),
        "how_sure": how_sure(found) if found else "",
        "left_out": left_out(found, currency) if found else "",
        "buys": [f"{buy.component.pk}:{buy.units}:{buy.on_order}" for buy in found.buys] if found else [],
        "may_act": may(by=by, act="draft_order", site_id=choice.site.pk),
        "key_form": KeyForm(initial=new_key()),
    }
    # Where each unit counts as one, the cost is the number of units.
    table = BuyTable(buy_lines(found), exclude=() if found and found.currency else ("cost",))
    return answer_table(
        request,
        table,
        "cases/reorders/budget.html",
        context,
        file_name=f"budget-{choice.site.code}",
    )
