"""Pages show the clock of the site where the person works."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from trays.staff.access import home_site


class SiteClock:
    """Activates the zone of the person's own site for the request; UTC without one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated:
            return self.get_response(request)
        site = home_site(request.user)
        with timezone.override(ZoneInfo(site.zone) if site else None):
            return self.get_response(request)
