"""Which workstation a browser is: a signed cookie that names the row.

Cleared cookies lose no settings: somebody says again which workstation this is.
"""

from django.core import signing
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from trays.scanners.models import Workstation

COOKIE = "workstation"
# As long as browsers keep a cookie at most; every scan makes it new.
KEPT_SECONDS = 400 * 24 * 3600


def this_workstation(request: HttpRequest) -> Workstation | None:
    """The workstation that this browser was said to be; at most one query in a request."""
    if not hasattr(request, "_workstation"):
        request._workstation = _named(request)  # type: ignore[attr-defined]
    found: Workstation | None = request._workstation  # type: ignore[attr-defined]
    return found


def _named(request: HttpRequest) -> Workstation | None:
    if COOKIE not in request.COOKIES:
        return None
    try:
        key = int(request.get_signed_cookie(COOKIE, salt=COOKIE) or 0)
    except signing.BadSignature:
        return None
    return Workstation.objects.select_related("place", "site").filter(pk=key).first()


def name_device(response: HttpResponseBase, workstation: Workstation, *, secure: bool) -> None:
    """Let this browser be the workstation from now on."""
    response.set_signed_cookie(
        COOKIE,
        str(workstation.pk),
        salt=COOKIE,
        max_age=KEPT_SECONDS,
        httponly=True,
        samesite="Lax",
        secure=secure,
    )


def forget_device(response: HttpResponseBase) -> None:
    """Let this browser be no workstation."""
    response.delete_cookie(COOKIE, samesite="Lax")
