"""Scans on the pages of a loan: what comes is taken in, what goes home is counted."""

from django.utils.translation import gettext as _

from cases.desks.found import Finding
from cases.desks.page_scan import Scan, done, wrong
from trays.loans.queries import whole_loans
from trays.loans.scanning import Said, Scanner, arrival_scan, count_scan
from trays.staff.access import may


def loan_comes(scan: Scan) -> Finding | None:
    """A shelf, a set or a sealed unit on the page where a loan comes. Raises Refusal."""
    scanner = _scanner(scan)
    if scanner is None:
        return None
    if _half(scan):
        return None
    said = arrival_scan(scanner, scan.reading, scan.thing)
    if said is None:
        raise wrong(scan, _("Scan a shelf, the code of a set, or the label of a sealed unit."))
    return _done(said)


def loan_goes(scan: Scan) -> Finding | None:
    """A sealed unit on the page where a loan is counted out. Raises Refusal."""
    scanner = _scanner(scan)
    if scanner is None or _half(scan):
        return None
    said = count_scan(scanner, scan.reading)
    if said is None:
        raise wrong(scan, _("Scan the label of a sealed unit; sets are counted line by line below."))
    return _done(said)


def _scanner(scan: Scan) -> Scanner | None:
    loan = whole_loans().filter(pk=scan.pk).first()
    if loan is None or not may(by=scan.by, act="receive_loan", site_id=loan.site_id):
        return None
    return Scanner(scan.request, loan, scan.by, scan.at, scan.key)


def _half(scan: Scan) -> bool:
    """The item alone names no unit: the other half of its label may come next."""
    reading = scan.reading
    return bool(reading.device) and not (reading.lot or reading.serial)


def _done(said: Said) -> Finding:
    return done(said.what, said.why, said.next_step)
