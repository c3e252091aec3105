"""Codes by camera: offered where the reader is installed, and only such a page may compile it."""

from csp.decorators import csp_update
from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

_OFFERED = "_offers_camera"


def offer_camera(request: HttpRequest) -> bool:
    """Whether this page can carry the camera's button; if so its policy will allow the reader."""
    if settings.CAMERA_READER:
        setattr(request, _OFFERED, True)
    return bool(settings.CAMERA_READER)


def allow_reader(request: HttpRequest, response: HttpResponseBase) -> None:
    """Let the page compile WebAssembly if it carries the camera's button. Nothing else becomes allowed."""
    if getattr(request, _OFFERED, False):
        csp_update({"script-src": ["'wasm-unsafe-eval'"]})(lambda _request: response)(request)
