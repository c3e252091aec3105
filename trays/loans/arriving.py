"""A loan comes: its sets become sets of the house with their packs, its sealed units go on a shelf.

Whatever their wrap says, the sets are not sterile: their packs stand in quarantine until the set has been
checked, and then go through the round from its start.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, DesignVersion, InstrumentSet, Pack, PackLine, PackState
from trays.ledger.append import Line
from trays.loans.acting import Locked, Who, act_on
from trays.loans.models import Loan, LoanSet, LoanUnit
from trays.loans.moving import loan_step_within, require_status
from trays.loans.ways import LoanStatus
from trays.parties.models import Tenure
from trays.parties.queries import site_day
from trays.places.models import Place, PlaceKind
from trays.processing.moving import Step, lock_packs, move
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.arriving import Goods, receive_within
from trays.stock.models_arrivals import Condition
from trays.web.errors import Refusal, Unreadable

S = LoanStatus
ARRIVES_FROM = (S.ASKED, S.CONFIRMED, S.ARRIVED, S.CHECKED, S.PROCESSED)
_CODE = re.compile(r"[^\s,;\"'<>]{1,40}")
_HOME = (PackState.SENT_BACK, PackState.LOST)


@dataclass(frozen=True, slots=True)
class SetCame:
    """One set of the loan as it stands at the door: which one it is, by the code on it."""

    loan_set: LoanSet
    code: str
    grai: str = ""


def loan_arrive(
    *,
    by: Person,
    loan: Loan,
    came: Sequence[SetCame],
    place: Place,
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Take down that sets of a loan are here: to be checked, not to be used.

    Raises Refusal "nothing-came", "place-elsewhere", "not-sterile-services", "no-contents-list",
    "set-of-another-loan", "set-came-already", "set-known", "grai-known", "no-way-loan", "loan-ended";
    Unreadable "code-unreadable"; NotAllowed "not-your-act".
    """
    require(by=by, act="receive_loan", site_id=loan.site_id)
    _check_place(place, loan)
    if not came:
        raise Refusal(
            "nothing-came", _("No set is named."), _("Scan or enter the code of the set that came.")
        )
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        require_status(locked.loan, *ARRIVES_FROM, after=S.ARRIVED)
        lines = []
        for one in came:
            lines += _set_came(locked.loan, one, place, who)
        return lines + _arrived(locked.loan, who)

    return act_on(loan, who, "loan.arrive", change, place_id=place.pk)


def loan_units_arrive(
    *,
    by: Person,
    loan: Loan,
    goods: Goods,
    count: int = 1,
    condition: str = Condition.GOOD,
    raw: bytes = b"",
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Take sealed units of a loan in: intact and in date they stay as sterile as their maker left them.

    `goods` names the loan's supplier as owner, on loan. Raises what `receive_within` raises, and Refusal
    "not-this-supplier", "no-way-loan", "loan-ended"; NotAllowed.
    """
    require(by=by, act="receive_loan", site_id=loan.site_id)
    if goods.owner.pk != loan.supplier_id or goods.tenure != Tenure.LOANED:
        raise Refusal(
            "not-this-supplier",
            _("Loan %(loan)s is of %(who)s.") % {"loan": loan.number, "who": loan.supplier},
            _("Receive it with the loan, or the delivery, that it belongs to."),
        )
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        require_status(own, *ARRIVES_FROM, S.IN_USE, S.DECONTAMINATED, after=S.ARRIVED)
        units, lines = receive_within(
            by=by, site=own.site, goods=goods, count=count, condition=condition, raw=raw, at=at
        )
        for unit in units:
            # The same unit may have been taken in by mistake and sent back within one loan.
            LoanUnit.objects.update_or_create(
                loan=own,
                unit=unit,
                defaults={"arrived_at": at, "counted_at": None, "open": True, "how": "", "ended_at": None},
            )
        return lines + _arrived(own, who)

    return act_on(loan, who, "loan.units-arrive", change, place_id=goods.place.pk)


def _arrived(loan: Loan, who: Who) -> list[Line]:
    """The loan's own line: its step, or that more of it came."""
    if loan.status in (S.ASKED, S.CONFIRMED) or (
        loan.status in (S.CHECKED, S.PROCESSED) and loan.sets.filter(open=True, outcome="", set__isnull=False)
    ):
        return [loan_step_within(loan=loan, after=S.ARRIVED, by=who.by, at=who.at)]
    return [Line("loan", loan.pk, loan.status, loan.status)]


def _check_place(place: Place, loan: Loan) -> None:
    if place.site_id != loan.site_id:
        raise Refusal(
            "place-elsewhere", _("This place is at another site."), _("Choose a place of this site.")
        )
    if place.kind != PlaceKind.STERILE_SERVICES:
        raise Refusal(
            "not-sterile-services",
            _("%(place)s is not in sterile services.") % {"place": place.name},
            _("Sets on loan are not sterile: bring them to sterile services."),
        )


def _set_came(loan: Loan, came: SetCame, place: Place, who: Who) -> list[Line]:
    row = LoanSet.objects.select_for_update().filter(pk=came.loan_set.pk, loan=loan, open=True).first()
    if row is None:
        raise Refusal(
            "set-of-another-loan", _("This set does not belong to this loan."), _("Load the page again.")
        )
    if row.set_id is not None:
        raise Refusal(
            "set-came-already",
            _("Set %(n)s of this loan is here already.") % {"n": row.number},
            _("Look at its check."),
        )
    if not _CODE.fullmatch(came.code):
        raise Unreadable(
            "code-unreadable",
            _("A set's code has no spaces, commas or quotation marks."),
            _("Enter it as it stands on the set."),
        )
    version = _newest_list(row, loan, who.at)
    known = InstrumentSet.objects.filter(code=came.code).first()
    try:
        with transaction.atomic():
            made = _comes_again(known, row, came, loan, version) if known else _new_set(came, loan, version)
    except IntegrityError as clash:
        raise Refusal(
            "grai-known",
            _("Another set has this code or GRAI."),
            _("Read the label again; enter both as they stand there."),
        ) from clash
    row.set, row.arrived_at = made, who.at
    row.save(update_fields=["set", "arrived_at"])
    return _packs_come(made, row, place, who)


def _newest_list(row: LoanSet, loan: Loan, at: datetime) -> DesignVersion:
    day = site_day(loan.site, at)
    newest = row.design.versions.filter(valid_from__lte=day, lines__isnull=False).order_by("-version").first()
    if newest is None:
        raise Refusal(
            "no-contents-list",
            _("No contents list of %(what)s is on file.") % {"what": row.design},
            _("Import the list that came with it, or refuse the loan for want of one."),
        )
    return newest


def _new_set(came: SetCame, loan: Loan, version: DesignVersion) -> InstrumentSet:
    return InstrumentSet.objects.create(
        version=version,
        code=came.code,
        grai=came.grai or None,
        site=loan.site,
        owner=loan.supplier,
        tenure=Tenure.LOANED,
    )


def _comes_again(
    known: InstrumentSet, row: LoanSet, came: SetCame, loan: Loan, version: DesignVersion
) -> InstrumentSet:
    """The very set that was here before, under its own history."""
    own = InstrumentSet.objects.select_for_update().get(pk=known.pk)
    theirs = own.owner_id == loan.supplier_id and own.tenure == Tenure.LOANED
    gone = not own.packs.exclude(state__in=_HOME).exists()
    if not theirs or not gone or own.version.design_id != row.design_id:
        raise Refusal(
            "set-known",
            _("Set %(set)s is on file, and not as a set that went home to %(who)s.")
            % {"set": own.code, "who": loan.supplier},
            _("Read its label again; look the set up by its code."),
        )
    own.version, own.site, own.grai = version, loan.site, came.grai or own.grai
    own.save(update_fields=["version", "site", "grai"])
    PackLine.objects.filter(pack__set=own).delete()
    return own


def _packs_come(made: InstrumentSet, row: LoanSet, place: Place, who: Who) -> list[Line]:
    """One pack for each tray of its contents list, in quarantine until it has been checked."""
    trays = (
        ContentsLine.objects.filter(version=made.version_id).order_by("tray").values_list("tray", flat=True)
    )
    held = dict(made.packs.values_list("tray", "pk"))
    new = [
        Pack(
            set=made,
            tray=tray,
            number=f"{row.loan.number}-{row.number}-{tray}",
            place=place,
            state=PackState.QUARANTINED,
            since=who.at,
        )
        for tray in trays.distinct()
        if tray not in held
    ]
    Pack.objects.bulk_create(new)
    lines = [Line("pack", pack.pk, "", pack.state) for pack in new]
    again = lock_packs(held.values())
    step = Step(by=who.by, at=who.at, place=place, reason="loan-arrived")
    # Through the start of the round: nothing that released it before counts for it now.
    lines += move(again, PackState.RECEIVED, step)
    return lines + move(again, PackState.QUARANTINED, step)
