"""The page of a case that asks what would cover it: the cheapest plans, of which one is accepted."""

from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases.bookings.models import Case
from cases.bookings.queries import lists_between, whole_cases
from cases.picks.retime import set_holds_follow
from cases.readiness.assess import judgement
from cases.readiness.snapshot import HORIZON_DAYS
from cases.reorders.accepting import Accepted, plan_accept
from cases.reorders.doings import doings_for
from cases.reorders.expecting import expected_at
from cases.reorders.planned import base_of, items_of
from cases.reorders.plans import Offered, plans_for
from cases.reorders.queries_proposals import proposals_of
from cases.reorders.reasons_actions import CaseLine, PlanWords, accepted_words, case_lines, plan_words, says
from trays.parties.queries import site_day
from trays.processing.pages import key_of, new_key, person_of
from trays.staff.access import fetch, may
from trays.web.acting import KeyForm
from trays.web.errors import Refusal
from trays.web.page import answer_page, go_to


@require_http_methods(["GET", "HEAD", "POST"])
def case_actions(request: HttpRequest, pk: int) -> HttpResponse:
    """What would cover the case and the others of its list; pressed, one plan is accepted."""
    by = person_of(request)
    act = "decide_plan" if request.method == "POST" else "see_reorders"
    case: Case = fetch(whole_cases(), by=by, act=act, pk=pk)
    at = timezone.now()
    offered, coming = offered_for(case, at, may_reorder=may(by=by, act="reorder_list", site_id=case.site_id))
    if request.method == "POST":
        return _accept(request, case, offered, coming, at)
    plans: list[PlanWords] = [plan_words(offered, plan) for plan in offered.plans]
    lines: list[CaseLine] = case_lines(case, offered)
    context: dict[str, Any] = {
        "at": at,
        "case": case,
        "offered": offered,
        "says": says(case, offered),
        "lines": lines,
        "plans": plans,
        "accepted": [accepted_words(one) for one in proposals_of(case)],
        "may_act": may(by=by, act="decide_plan", site_id=case.site_id),
        "key_form": KeyForm(initial=new_key()),
    }
    return answer_page(request, "cases/reorders/actions.html", context)


def offered_for(case: Case, at: datetime, *, may_reorder: bool) -> tuple[Offered, str]:
    """The plans for a case, and what stands for all that was on its way when they were worked out.

    Raises Refusal "case-not-judged" for a case that is not to come in these four weeks.
    """
    site = case.site
    now = judgement(site=site, at=at)
    if case.pk not in now.horizon.verdicts:
        raise Refusal(
            "case-not-judged",
            _("This case is not among those of the next four weeks that are still to come."),
            _("Choose a case from the fortnight."),
        )
    coming, told = expected_at(site=site, snapshot=now.laws.snapshot)
    base = base_of(coming, case.list_id, now)
    components, designs = items_of(base.laws)
    doings = doings_for(
        site=site,
        at=at,
        cases=[law.facts for law in base.laws],
        components=components,
        designs=designs,
    )
    today = site_day(site, at)
    rows = lists_between(site.pk, today, today + timedelta(days=HORIZON_DAYS - 1))
    offered = plans_for(case=case, now=now, coming=coming, rows=rows, doings=doings, may_reorder=may_reorder)
    return offered, told


def _accept(request: HttpRequest, case: Case, offered: Offered, coming: str, at: datetime) -> HttpResponse:
    wanted = request.POST.get("plan", "")
    plan = next((one for one in offered.plans if one.refs == wanted), None)
    key = key_of(request)
    if plan is None:
        done = proposals_of(case)
        # The same press again: what it made has changed the plans.
        if key is not None and done and done[0].key == key:
            return go_to(request, "case-actions", case.pk)
        raise Refusal(
            "plan-out-of-date",
            _("The plans have changed since this page was opened."),
            _("Look at them as they are now, and choose again."),
        )
    made = plan_accept(
        by=person_of(request),
        accepted=Accepted(case, plan, offered, coming),
        at=at,
        follow=set_holds_follow,
        client_key=key,
    )
    messages.success(
        request,
        _("Accepted. %(count)s things were set going; receiving them turns the case ready.")
        % {"count": made.acts.count()},
    )
    return go_to(request, "case-actions", case.pk)
