"""What every page shows around its work: the role's own pages, the person, the place."""

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from cases.desks.halves import waiting
from trays.scanners.device import this_workstation
from trays.staff.access import home_site, kinds_of, main_role
from trays.staff.models import Person, Role

K = Role.Kind
# The pages of each role, the landing page first.
PAGES: dict[str, tuple[str, ...]] = {
    K.COORDINATOR: ("fortnight", "pick-lists", "stock", "sets", "reorders", "imports"),
    K.SURGEON: ("fortnight", "stock", "sets"),
    K.STERILE_SERVICES: (
        "sterile-work", "receive", "benches", "machines", "store", "pick-lists", "sets", "fortnight",
        "labels", "imports",
    ),  # fmt: skip
    K.SCRUB_NURSE: ("fortnight", "pick-lists", "sets"),
    K.CIRCULATING_NURSE: ("fortnight", "pick-lists", "sets"),
    K.STORES: ("reorders", "stock", "store", "pick-lists", "labels", "imports"),
    K.QUALITY: ("fortnight", "recalls", "sterile-work", "stock", "sets", "reorders", "refused-scans"),
    K.SUPPLIER: ("help",),
}
# Addresses that belong to a page without standing under its own.
UNDER = {"machines": ("/runs/", "/indicators/")}
KEEPER = ("imports", "fortnight", "sterile-work", "pick-lists", "stock", "sets", "reorders", "labels")


def page_labels() -> dict[str, str]:
    return {
        "fortnight": _("Fortnight"),
        "sterile-work": _("Work"),
        "receive": _("Receive"),
        "benches": _("Pack"),
        "machines": _("Load and release"),
        "store": _("Store"),
        "recalls": _("Recalls"),
        "pick-lists": _("Pick lists"),
        "stock": _("Stock"),
        "sets": _("Sets"),
        "reorders": _("Reorder"),
        "labels": _("Labels"),
        "imports": _("Import"),
        "refused-scans": _("Refused scans"),
        "help": _("Help"),
    }


def pages_of(person: Person) -> tuple[str, ...]:
    """URL names of the person's pages, the landing page first."""
    if person.is_superuser:
        return KEEPER
    seen: dict[str, None] = {}
    role = main_role(person)
    for kind in ([role.kind] if role else []) + sorted(kinds_of(person)):
        seen.update(dict.fromkeys(PAGES.get(kind, ())))
    return tuple(seen) or ("help",)


def surroundings(request: HttpRequest) -> dict[str, Any]:
    """Context for the base template; nothing for somebody who has not signed in."""
    person = getattr(request, "user", None)
    if not isinstance(person, Person):
        return {}
    labels = page_labels()
    role = main_role(person)
    site = home_site(person)
    return {
        "nav": [
            {
                "label": labels[name],
                "url": url,
                "current": request.path.startswith((url, *UNDER.get(name, ()))),
            }
            for name in pages_of(person)
            if (url := _url(name))
        ],
        "person_line": {
            "name": person.name,
            "role": role.get_kind_display() if role else "",
            "url": reverse("my-pin"),
        },
        "site_line": site.name if site else "",
        "landing_url": reverse("landing"),
        "workstation": this_workstation(request),
        "half": waiting(request),
    }


def _url(name: str) -> str:
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
