"""What a scan does on the theatre's pages: opens a case, a pack, a box; accepts a pack that was counted."""

from dataclasses import replace
from urllib.parse import urlencode

from django.urls import resolve, reverse
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.queries import whole_cases
from cases.counts.bringing_in import pack_checks
from cases.counts.counting import packs_accept
from cases.counts.opening import trolley_take_over
from cases.counts.queries_room import packs_brought_in, stage_under_way
from cases.counts.views_theatre import address_of_pack
from cases.desks.found import Finding, Link, refuse
from cases.desks.page_scan import Scan, done, wrong
from cases.picks.queries import in_force
from cases.usage.kinds import scanned
from cases.usage.models_record import SignRole
from cases.usage.scanning import box_scan
from trays.identifiers.meaning import Kind
from trays.processing.putting import named
from trays.staff.access import kinds_of, may
from trays.staff.models import Person, Role
from trays.web.errors import Refusal

SEATS = {Role.Kind.SCRUB_NURSE: SignRole.SCRUB, Role.Kind.SURGEON: SignRole.SURGEON}
"""As whom people sign, by their role; all others as circulating."""


def open_case(scan: Scan) -> Finding | None:
    """On today's list a pick list or a case opens its case in theatre."""
    case = _case_scanned(scan.found)
    if case is None or not may(by=scan.by, act="see_theatre", site_id=case.site_id):
        return None
    return Finding(
        what=_("Case %(reference)s") % {"reference": case.reference},
        url=reverse("theatre-case", args=[case.pk]),
    )


def _case_scanned(found: Finding) -> Case | None:
    """The case to which the address of a finding belongs, None for another kind of page."""
    match = resolve(found.url.partition("#")[0]) if found.url else None
    name, pk = (match.url_name, match.kwargs.get("pk", 0)) if match else ("", 0)
    if name == "pick-list":
        return whole_cases().filter(pick_lists__pk=pk).first()
    return whole_cases().filter(pk=pk).first() if name in ("case", "count-sheets") else None


def _at_table(scan: Scan) -> Case | None:
    case = whole_cases().filter(pk=scan.pk).first()
    return case if case is not None and may(by=scan.by, act="count", site_id=case.site_id) else None


def open_pack(scan: Scan) -> Finding | None:
    """On the page Bring in: the pick list takes the trolley over, a pack is in hand, a box is an implant."""
    case = _at_table(scan)
    if case is None:
        return None
    listed = _case_scanned(scan.found)
    if listed is not None:
        return _take_over(scan, case, listed)
    packs = scan.packs
    if not packs:
        return _box_at_table(scan)
    brought = set(packs_brought_in(case))
    still = [pack for pack in packs if pack.pk not in brought]
    pack = still[0] if still else packs[0]
    url = address_of_pack(case, pack)
    against = [one for one in pack_checks(case=case, pack=pack, at=scan.at) if not one.ok]
    if not still:
        raise Refusal(
            "pack-in-already",
            _("Pack %(pack)s has been brought in for this case already.") % {"pack": pack.number},
            _("Nothing to do; its lines are on the count page."),
        )
    if against:
        links = (Link(_("It was opened already"), url),)
        return refuse(against[0].code, against[0].said, against[0].next_step, links=links)
    return Finding(what=named([pack]), url=url)


def _take_over(scan: Scan, case: Case, listed: Case) -> Finding:
    pick_list = in_force(case)
    if listed.pk != case.pk or pick_list is None:
        raise Refusal(
            "list-of-another-case",
            _("This list is of case %(other)s; this page is of case %(case)s.")
            % {"other": listed.reference, "case": case.reference},
            _("Look which case is on the table."),
        )
    trolley_take_over(by=scan.by, case=case, pick_list=pick_list, at=scan.at, client_key=scan.key)
    return done(
        _("The trolley of case %(case)s is taken over.") % {"case": case.reference},
        next_step=_("Scan each pack as it is opened."),
    )


def _box_at_table(scan: Scan) -> Finding | None:
    """A box that is scanned among the packs is checked like on the page Implants, and leads there."""
    found = box(scan)
    if found is None:
        return None
    to = reverse("theatre-implants", args=[scan.pk])
    if found.refused:
        return replace(found, links=(Link(_("To the implants"), to),), stays=False)
    return replace(found, url=to, stays=False)


def accept_pack(scan: Scan) -> Finding | None:
    """On the count page a pack whose lines were all counted aloud is accepted whole."""
    case = _at_table(scan)
    if case is None or not scan.packs:
        return None
    stage, brought = stage_under_way(case), packs_brought_in(case)
    own = [brought[pack.pk] for pack in scan.packs if pack.pk in brought]
    if not own:
        raise Refusal(
            "pack-not-brought-in",
            _("%(packs)s: not opened for this case.") % {"packs": named(scan.packs)},
            _("Bring it in first, if it is opened."),
        )
    if stage is None:
        raise Refusal("no-stage-open", _("No count is under way."), _("Begin one first."))
    packs_accept(by=scan.by, case=case, stage=stage, packs=own, at=scan.at, client_key=scan.key)
    return done(_("%(packs)s: counted aloud and accepted.") % {"packs": named(scan.packs)})


def box(scan: Scan) -> Finding | None:
    """A box on the page Implants: checked before it is opened; in hand already, it is opened."""
    case = whole_cases().filter(pk=scan.pk).first()
    if case is None or not may(by=scan.by, act="see_theatre", site_id=case.site_id):
        return None
    if scan.packs:
        raise wrong(scan, _("Packs come in on the page Bring in; here it is implants."))
    if scan.reading.kind not in (Kind.TRADE_ITEM, Kind.HIBC):
        return None
    said = box_scan(
        request=scan.request, case=case, scanned=scanned(scan.reading), by=scan.by, at=scan.at,
        client_key=scan.key,
    )  # fmt: skip
    return Finding(what=said.what, why=said.why, next_step=said.next_step, code=said.code, stays=True)


def badge(scan: Scan) -> Finding | None:
    """A badge on the page Sign and close: whose it is stands there, and only the PIN is left to enter."""
    if not isinstance(scan.thing, Person):
        return None
    kinds = kinds_of(scan.thing)
    seat = next((seat for kind, seat in SEATS.items() if kind in kinds), SignRole.CIRCULATING)
    asked = urlencode({"role": seat.value, "name": scan.thing.username})
    return Finding(what=scan.found.what, url=f"{reverse('theatre-sign', args=[scan.pk])}?{asked}")
