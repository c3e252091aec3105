"""What an amount buys, in sentences. Figures of cases are rounded so that none promises too much."""

import math
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.reorders.best_buys import BestBuys


def says(found: BestBuys) -> str:
    """ "Six units for 840.00 GBP: of 14 booked cases at least 11.2 are sure …, now at least 9.8." """
    if not found.cases:
        return _("No booked case draws a component until what is ordered today has come.")
    words = {
        "cases": found.cases,
        "before": cases_at_least(found.before),
        "served": cases_at_least(found.served),
    }
    if not found.buys:
        return (
            _(
                "This amount buys nothing that helps: of %(cases)s booked cases at least %(before)s are sure "
                "to find all their components."
            )
            % words
        )
    bought = ngettext("%(count)s unit", "%(count)s units", found.units) % {"count": found.units}
    if found.currency:
        bought = _("%(units)s for %(cost)s") % {"units": bought, "cost": money(found.cost, found.currency)}
    return _(
        "%(bought)s: of %(cases)s booked cases at least %(served)s will find all their components on "
        "average, now at least %(before)s."
    ) % {**words, "bought": bought}


def how_sure(found: BestBuys) -> str:
    """How it was chosen: exactly, or by a search, with what another purchase could serve more at most."""
    if not found.cases:
        return ""
    if found.exact:
        return _(
            "Exact: no other purchase for this amount serves more, by the same count. A unit that adds less "
            "than a thousandth of a case is not bought."
        )
    gap = {"gap": cases_at_most(found.gap)}
    if found.solver:
        return (
            _(
                "Not proven to be the best in the time given: another purchase could serve at most %(gap)s "
                "cases more."
            )
            % gap
        )
    return (
        _(
            "Chosen by a search that need not find the best: another purchase could serve at most %(gap)s "
            "cases more. With the exact solver installed it would be looked for."
        )
        % gap
    )


def left_out(found: BestBuys, currency: str) -> str:
    """What could not be considered, and what stands for the cost."""
    if not found.currency and not currency:
        return _("No component has a price on file: each unit counts as one.")
    if found.currency and found.unpriced:
        return ngettext(
            "%(count)s component without a price in %(currency)s is left out.",
            "%(count)s components without a price in %(currency)s are left out.",
            found.unpriced,
        ) % {"count": found.unpriced, "currency": found.currency}
    return ""


def cases_at_least(number: float, decimals: int = 2) -> str:
    """A number of cases, rounded down."""
    whole = 10**decimals
    return number_format(math.floor(number * whole + 1e-6) / whole, decimals)


def cases_at_most(number: float) -> str:
    """A number of cases, two decimals, rounded up."""
    return number_format(math.ceil(number * 100 - 1e-6) / 100, 2)


def money(amount: Decimal, currency: str) -> str:
    """An amount with its currency."""
    return f"{number_format(amount, 2)} {currency}"
