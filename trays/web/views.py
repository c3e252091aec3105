"""The look of the pages, and the pages for errors."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from trays.web import look
from trays.web.page import error_page


@login_not_required
@require_POST
def choose_look(request: HttpRequest) -> HttpResponse:
    """Keeps light or dark and sound, and goes back to the page that asked."""
    back = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts=None, require_https=request.is_secure()):
        back = "/"
    answer = HttpResponseRedirect(back)
    answer.status_code = 303
    for name in look.CHOICES:
        if name in request.POST:
            look.keep(answer, name, request.POST[name], secure=request.is_secure())
    return answer


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "400.html", 400)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "403.html", 403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "404.html", 404)


def server_error(request: HttpRequest) -> HttpResponse:
    return error_page(request, "500.html", 500)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page was open too long, or its form came from elsewhere."""
    return error_page(request, "403_stale.html", 403)


def too_many(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    """Too many wrong tries to sign in (django-axes calls this, with the credentials, which are not shown)."""
    answer = error_page(request, "429.html", 429)
    answer["Retry-After"] = "900"
    return answer
