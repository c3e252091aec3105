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
    K.COORDINATOR: (
        "fortnight", "pick-lists", "stock", "sets", "reorders", "orders", "loans", "chase", "imports",
    ),  # fmt: skip
    K.SURGEON: ("fortnight", "theatre-today", "stock", "sets"),
    K.STERILE_SERVICES: (
        "sterile-work", "receive", "benches", "machines", "store", "pick-lists", "sets", "loans", "fortnight",
        "labels", "imports",
    ),  # fmt: skip
    K.SCRUB_NURSE: ("theatre-today", "fortnight", "pick-lists", "sets", "chase"),
    K.CIRCULATING_NURSE: ("theatre-today", "fortnight", "pick-lists", "sets", "chase"),
    K.STORES: (
        "reorders", "orders", "stock", "expiry", "receiving", "goods", "loans", "agreements",
        "store", "pick-lists", "labels", "imports",
    ),  # fmt: skip
    K.QUALITY: (
        "fortnight", "chase", "recalls", "goods", "sterile-work", "stock", "sets", "reorders", "orders",
        "refused-scans", "imports",
    ),  # fmt: skip
    K.SUPPLIER: ("help",),
}
# As many as stand in one line of a narrow desk's screen beside the scan field and the person.
SIDE_BY_SIDE = 7
# Addresses that belong to a page without standing under its own.
UNDER = {
    "machines": ("/runs/", "/indicators/"),
    "orders": ("/order-limits/",),
    "goods": (
        "/stock-moves/", "/transfers/", "/stock-takes/", "/set-apart/", "/safety-notices/",
        "/catalogue-drafts/", "/stock-policy/",
    ),
}  # fmt: skip
KEEPER = ("imports", "fortnight", "sterile-work", "pick-lists", "stock", "sets", "reorders", "labels")


def page_labels() -> dict[str, str]:
    return {
        "theatre-today": _("Today"),
        "chase": _("To chase"),
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
        "orders": _("Orders"),
        "receiving": _("Receiving"),
        "goods": _("Goods"),
        "expiry": _("Expiry"),
        "loans": _("Loans"),
        "agreements": _("Agreements"),
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
    role = main_role(person)
    site = home_site(person)
    return {
        "nav": _nav(request, pages_of(person)),
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


def _nav(request: HttpRequest, names: tuple[str, ...]) -> list[dict[str, Any]]:
    """The pages as links; where they are many, the lesser ones under "More"."""
    labels = page_labels()
    pages = [
        {"label": labels[name], "url": url, "current": request.path.startswith((url, *UNDER.get(name, ())))}
        for name in names
        if (url := _url(name))
    ]
    if len(pages) <= SIDE_BY_SIDE:
        return pages
    first, lesser = pages[: SIDE_BY_SIDE - 1], pages[SIDE_BY_SIDE - 1 :]
    here = next((page for page in lesser if page["current"]), None)
    return [*first, {"label": here["label"] if here else _("More"), "current": bool(here), "pages": lesser}]


def _url(name: str) -> str:
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
