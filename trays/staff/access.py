"""Who may do what, where: asked by every service, for the act and for the row."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _

from trays.parties.models import Site
from trays.staff.models import Person, Role
from trays.web.errors import NotAllowed, NotThere

K = Role.Kind
THEATRE = frozenset({K.SCRUB_NURSE, K.CIRCULATING_NURSE})
HOSPITAL = frozenset(set(K) - {K.SUPPLIER})

# Each act in the trade's words, and the roles that may do it at their own site.
ACTS: dict[str, frozenset[str]] = {
    "see_cases": HOSPITAL,
    "see_stock": HOSPITAL,
    "see_sets": HOSPITAL,
    "see_reorders": frozenset({K.STORES, K.COORDINATOR, K.QUALITY}),
    "see_picks": HOSPITAL,
    "book_case": frozenset({K.COORDINATOR, K.SURGEON}),
    "reorder_list": frozenset({K.COORDINATOR}),
    "predict_size": frozenset({K.COORDINATOR, K.SURGEON}),
    "hold_stock": frozenset({K.COORDINATOR, K.STORES}),
    "make_pick_list": frozenset({K.COORDINATOR, K.STORES, K.STERILE_SERVICES}),
    "print_count_sheets": THEATRE | {K.COORDINATOR, K.STERILE_SERVICES},
    "print_labels": frozenset({K.STERILE_SERVICES, K.STORES}),
    "print_badges": frozenset({K.COORDINATOR}),
    "receive_stock": frozenset({K.STORES}),
    "see_processing": HOSPITAL,
    "process_packs": frozenset({K.STERILE_SERVICES}),
    "store_packs": frozenset({K.STERILE_SERVICES, K.STORES}),
    "issue_packs": THEATRE | {K.STERILE_SERVICES, K.STORES},
    "release_load": frozenset({K.STERILE_SERVICES}),
    "release_early": frozenset({K.STERILE_SERVICES, K.SURGEON, K.QUALITY}),
    "allow_short": frozenset({K.STERILE_SERVICES, K.SURGEON, K.QUALITY}),
    "quarantine_packs": THEATRE | {K.STERILE_SERVICES, K.QUALITY, K.STORES},
    "lift_quarantine": frozenset({K.QUALITY}),
    "recall_packs": frozenset({K.STERILE_SERVICES, K.QUALITY}),
    "close_recall": frozenset({K.QUALITY}),
    "keep_machines": frozenset({K.STERILE_SERVICES, K.QUALITY}),
    "set_processing_policy": frozenset({K.QUALITY}),
    "import_files": frozenset({K.COORDINATOR, K.STORES, K.STERILE_SERVICES}),
    "set_up_scanners": frozenset({K.COORDINATOR, K.STORES, K.STERILE_SERVICES, K.QUALITY}),
    "see_refused_scans": frozenset({K.STORES, K.QUALITY}),
    "see_theatre": THEATRE | {K.COORDINATOR, K.SURGEON, K.STERILE_SERVICES, K.QUALITY},
    "count": THEATRE,
    "record_use": THEATRE,
    "sign_record": THEATRE | {K.SURGEON},
    "close_by_exception": frozenset({K.SURGEON, K.COORDINATOR, K.QUALITY}),
    "enter_from_paper": THEATRE | {K.COORDINATOR, K.QUALITY},
    "set_count_policy": frozenset({K.QUALITY, K.COORDINATOR}),
    "answer_theatre": frozenset({K.STERILE_SERVICES}),
    "move_stock": frozenset({K.STORES}),
    "transfer_stock": frozenset({K.STORES, K.COORDINATOR}),
    "count_stock": frozenset({K.STORES}),
    "adjust_stock": frozenset({K.STORES, K.QUALITY}),
    "quarantine_stock": THEATRE | {K.STORES, K.QUALITY, K.STERILE_SERVICES},
    "recall_stock": frozenset({K.STORES, K.QUALITY}),
    "add_catalogue": frozenset({K.STORES}),
    "approve_catalogue": frozenset({K.QUALITY, K.COORDINATOR}),
    "see_orders": frozenset({K.STORES, K.COORDINATOR, K.QUALITY}),
    "draft_order": frozenset({K.STORES, K.COORDINATOR}),
    "approve_order": frozenset({K.STORES, K.COORDINATOR, K.QUALITY}),
    "send_order": frozenset({K.STORES}),
    "see_loans": frozenset({K.STORES, K.COORDINATOR, K.QUALITY, K.STERILE_SERVICES}),
    "ask_loan": frozenset({K.COORDINATOR, K.STORES}),
    "receive_loan": frozenset({K.STORES, K.STERILE_SERVICES}),
    "keep_agreements": frozenset({K.STORES, K.COORDINATOR}),
    "set_stock_policy": frozenset({K.STORES, K.QUALITY}),
    "decide_plan": frozenset({K.COORDINATOR, K.STORES}),
}


def may(*, by: Person, act: str, site_id: int) -> bool:
    """Whether the person may do the act at the site. Unknown acts raise KeyError: a fault in the code."""
    roles = ACTS[act]
    return by.is_superuser or any(role.site_id == site_id and role.kind in roles for role in _roles_of(by))


def require(*, by: Person, act: str, site_id: int) -> None:
    """Refuse, with code "not-your-act", unless the person may do the act at the site."""
    if not may(by=by, act=act, site_id=site_id):
        raise NotAllowed(
            "not-your-act",
            _("Your role does not include this at this site."),
            _("Ask a colleague whose role it is, or have your roles changed."),
        )


def sites_for(*, by: Person, act: str) -> QuerySet[Site]:
    """The sites at which the person may do the act, in order of name."""
    sites = Site.objects.order_by("name")
    if by.is_superuser:
        return sites
    roles = ACTS[act]
    ids = {role.site_id for role in _roles_of(by) if role.kind in roles and role.site_id}
    return sites.filter(pk__in=ids)


def sites_or_refuse(*, by: Person, act: str) -> list[Site]:
    """The same as a list; refused, with code "not-your-act", where there is none."""
    sites = list(sites_for(by=by, act=act))
    if not sites:
        raise NotAllowed(
            "not-your-act",
            _("Your role does not include this page."),
            _("Ask a colleague whose role it is, or have your roles changed."),
        )
    return sites


def kinds_of(by: Person) -> set[str]:
    """The kinds of role that the person holds anywhere."""
    return {role.kind for role in _roles_of(by)}


def main_role(by: Person) -> Role | None:
    """The role the person was given first: whose page they land on."""
    return next(iter(_roles_of(by)), None)


def home_site(by: Person) -> Site | None:
    """The site where the person works: of their first role at a site; the keeper's is the first site."""
    for role in _roles_of(by):
        if role.site is not None:
            return role.site
    return Site.objects.order_by("pk").first() if by.is_superuser else None


def fetch(rows: QuerySet[Any], *, by: Person, act: str, site: str = "site_id", **lookup: Any) -> Any:
    """Fetch one row and check the act at its site; missing and forbidden rows look the same (404).

    `site` is the path from the row to its site's id. Views get their rows by this only.
    """
    row = rows.filter(**lookup).first()
    if row is None or not may(by=by, act=act, site_id=_follow(row, site)):
        raise NotThere(
            "not-there",
            _("There is nothing here that you may see."),
            _("Go back, or search for it by its code."),
        )
    return row


def _follow(row: Model, path: str) -> int:
    value: Any = row
    for name in path.split("__"):
        value = getattr(value, name)
    return int(value)


def _roles_of(by: Person) -> Iterable[Role]:
    # One query per request: the roles stay on the person that the session brought.
    kept = getattr(by, "_roles_kept", None)
    if kept is None:
        kept = list(by.roles.select_related("site").order_by("pk"))
        by._roles_kept = kept  # type: ignore[attr-defined]
    return kept
