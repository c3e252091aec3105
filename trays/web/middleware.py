"""What every request and answer passes: a reference number, headers, refusals made into pages."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

from trays.web.camera import allow_reader
from trays.web.errors import Refusal, new_reference, reference_now
from trays.web.page import refusal_page

Answer = Callable[[HttpRequest], HttpResponseBase]

_UNUSED_FEATURES = (
    "accelerometer",
    "display-capture",
    "geolocation",
    "gyroscope",
    "magnetometer",
    "microphone",
    "midi",
    "payment",
    "usb",
    "xr-spatial-tracking",
)
PERMISSIONS = "camera=(self), " + ", ".join(f"{feature}=()" for feature in _UNUSED_FEATURES)


class RequestReference:
    """Names each request, so that a person on the telephone and the log speak of the same one."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        reference = new_reference()
        request.reference = reference  # type: ignore[attr-defined]
        token = reference_now.set(reference)
        try:
            response = self.get_response(request)
        finally:
            reference_now.reset(token)
        response["Trayspan-Reference"] = reference
        return response


class PlainCookies:
    """Passes over cookies that hold a null character: as a session's key no PostgreSQL would look it up."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        kept = {name: value for name, value in request.COOKIES.items() if "\x00" not in value}
        if len(kept) < len(request.COOKIES):
            request.COOKIES = kept
        return self.get_response(request)


class Headers:
    """Headers that Django does not set: who may embed an answer, what a page may use, what may be kept."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        allow_reader(request, response)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        # Pages and files may name people and cases: no shared machine keeps them unless a view says so.
        response.headers.setdefault("Cache-Control", "no-store")
        return response


class RefusalToPage:
    """A Refusal that no view has answered becomes a page, a part or JSON with its own status."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, Refusal):
            return refusal_page(request, exception)
        return None
