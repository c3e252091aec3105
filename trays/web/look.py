"""How a person wants the pages: light or dark, with tones or without. Cookies, set by a plain form."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase

THEMES = ("light", "dark")
SOUNDS = ("on", "off")
# Name of the choice in the form and in the cookie, and what it may be; "" goes back to what the device does.
CHOICES = {"theme": THEMES, "sound": SOUNDS}
YEAR = 365 * 24 * 3600


def chosen(request: HttpRequest | None, name: str) -> str:
    """The person's choice of theme or sound, or "" if none was made (or the cookie says nonsense)."""
    if request is None:
        return ""
    value = request.COOKIES.get(name, "")
    return value if value in CHOICES[name] else ""


def keep(response: HttpResponseBase, name: str, value: str, *, secure: bool) -> None:
    """Keeps the choice for a year on this device; anything unknown goes back to the device's own way."""
    if value in CHOICES[name]:
        response.set_cookie(name, value, max_age=YEAR, httponly=True, samesite="Lax", secure=secure)
    else:
        response.delete_cookie(name, samesite="Lax")
