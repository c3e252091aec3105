"""What a site has decided about loans, and a person deciding it anew."""

from datetime import date, datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.deadlines import Allowed
from trays.loans.models_agreements import LoanPolicy
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

HOURS = (
    "confirm_hours", "check_hours", "process_hours", "ready_hours", "unfamiliar_hours", "clean_hours",
    "count_hours", "soon_hours",
)  # fmt: skip
DAYS = ("return_days", "close_days")


def loan_policy_on(*, site: Site, day: date) -> LoanPolicy:
    """The site's rules on a day; the cautious defaults where it has set none (one query)."""
    found = LoanPolicy.objects.filter(site=site, valid_from__lte=day).order_by("-valid_from").first()
    return found or LoanPolicy(site=site, valid_from=day)


def allowed_by(policy: LoanPolicy) -> Allowed:
    """The same in working minutes, as deadlines are reckoned."""
    return Allowed(
        **{name.removesuffix("_hours"): getattr(policy, name) * 60 for name in HOURS},
        return_days=policy.return_days,
        close_days=policy.close_days,
    )


def loan_policy_set(
    *, by: Person, site: Site, values: dict[str, int], at: datetime, client_key: UUID | None = None
) -> LoanPolicy:
    """Set how long before and after a case each step of a loan must be done, from today on.

    `values` by the names in HOURS and DAYS; what is not named stays as it is. Raises Refusal "out-of-range";
    NotAllowed "not-your-act".
    """
    require(by=by, act="keep_agreements", site_id=site.pk)
    if any(not 0 <= value <= (60 if name == "return_days" else 200) for name, value in values.items()):
        raise Refusal(
            "out-of-range",
            _("Hours and days lie between 0 and 200; days to send home between 0 and 60."),
            _("Put the number right."),
        )

    def work() -> LoanPolicy:
        day = site_day(site, at)
        # One at a time: two who decide on one day change one row.
        list(Site.objects.select_for_update().filter(pk=site.pk).values_list("pk", flat=True))
        before = loan_policy_on(site=site, day=day)
        kept = {name: getattr(before, name) for name in (*HOURS, *DAYS)} | values
        row, _made = LoanPolicy.objects.update_or_create(site=site, valid_from=day, defaults=kept)
        record(
            chain=site.code, verb="loan.policy", by=by, at=at, client_key=client_key,
            answer={"policy": row.pk}, lines=[Line("loan_policy", row.pk)],
        )  # fmt: skip
        return row

    return act_once(
        verb="loan.policy",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: LoanPolicy.objects.get(pk=answer["policy"]),
    )
