"""Pages of the demo's world through the whole stack: middleware, view, queries, template."""

from datetime import datetime

from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases.bookings.models import Case
from cases.picks.services import pick_list_make
from tests.bench.conftest import median_of, tell
from trays.staff.models import Person

TIMES = 9


def test_pages(demo_world: Person, now: datetime) -> None:
    case = Case.objects.select_related("site", "list").get(reference="LK-0111")
    made = pick_list_make(by=demo_world, case=case, at=now)
    client = Client()
    client.force_login(demo_world, backend="django.contrib.auth.backends.ModelBackend")
    pages = {
        "fortnight": reverse("fortnight"),
        "case": reverse("case", args=[case.pk]),
        "stock": reverse("stock"),
        "reorders": reverse("reorders"),
        "pick list": reverse("pick-list", args=[made.pk]),
    }

    def get(address: str) -> bytes:
        answer = client.get(address, secure=True)
        assert answer.status_code == 200, (address, answer.status_code)
        return answer.content

    def anew(address: str) -> bytes:
        cache.clear()
        return get(address)

    for name, address in pages.items():
        get(address)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            size = len(get(address))
        more = f"{len(queries)} queries, {size // 1024} KiB"
        tell(f"page {name}: median of {TIMES}", median_of(lambda a=address: get(a), TIMES), more)
    for name in ("fortnight", "case", "reorders"):
        tell(f"page {name}: first after an act, median of 3", median_of(lambda a=pages[name]: anew(a), 3))
