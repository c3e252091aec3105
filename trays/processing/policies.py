"""What a site has decided, on a day: its rules, its programmes, the tests that its machines owe."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Q

from trays.parties.models import Site
from trays.processing.models_machines import DayTest, DayTestRule, Machine, Programme
from trays.processing.models_policy import Policy


def policy_on(*, site: Site, day: date) -> Policy:
    """The site's rules on a day; the cautious defaults where it has set none (one query)."""
    found = Policy.objects.filter(site=site, valid_from__lte=day).order_by("-valid_from").first()
    return found or Policy(site=site, valid_from=day)


def programmes_on(*, site: Site, kind: str, day: date) -> list[Programme]:
    """The programmes in force on a day, the newest row of each code, in order of code (one query)."""
    newest: dict[str, Programme] = {}
    for row in Programme.objects.filter(site=site, kind=kind, valid_from__lte=day).order_by("valid_from"):
        newest[row.code] = row
    return sorted((row for row in newest.values() if not row.withdrawn), key=lambda row: row.code)


def tests_owed(*, machines: Iterable[Machine], day: date) -> dict[int, list[DayTestRule]]:
    """By machine, the day's tests that are not passed: not done, or failed at the latest try (two
    queries).
    """
    rows = list(machines)
    sites = {machine.site_id for machine in rows}
    rules = DayTestRule.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gte=day), site__in=sites, valid_from__lte=day
    )
    wanted = list(rules)
    latest: dict[tuple[int, int], bool] = {}
    done = DayTest.objects.filter(machine__in=rows, day=day).order_by("at", "pk")
    for machine_id, rule_id, passed in done.values_list("machine_id", "rule_id", "passed"):
        latest[machine_id, rule_id] = passed
    return {
        machine.pk: [
            rule
            for rule in wanted
            if rule.site_id == machine.site_id
            and rule.kind == machine.kind
            and not latest.get((machine.pk, rule.pk), False)
        ]
        for machine in rows
    }
