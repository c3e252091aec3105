"""Signing the implant record: each on the screen that is open, by badge and PIN; or named and not signed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case, Construct
from cases.reservations import locking
from cases.usage.marking import in_theatre, mark_within, right_marked
from cases.usage.models import Mark, MarkKind
from cases.usage.models_record import RecordSigning, SignRole
from cases.usage.queries_record import record_content, signature_shows
from cases.usage.within import moment
from trays.ledger.append import Line, record
from trays.ledger.once import Answer, act_once
from trays.staff.access import may
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, sign
from trays.web.errors import Refusal

SUBJECT = "implant_record"


def record_sign(
    *,
    by: Person,
    case: Case,
    role: str,
    signer: Signer,
    at: datetime,
    construct: Construct | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> tuple[RecordSigning, ...]:
    """Put a person's signature under the record of each construct of the case, or of one; bound to what
    stands there now. Whoever is signed in on the screen (`by`) stays so.

    A person whose role here does not include it is named and not signed, and chased. Raises Refusal
    "no-such-seat", "same-person" (stands under this record in another role), "signed-already"; NotAllowed.
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_role(role)
    person = signer.person
    allowed = may(by=person, act="sign_record", site_id=case.site_id)

    def one(record_of: Construct) -> tuple[RecordSigning, list[Line]]:
        signature = None
        if allowed:
            signature = sign(
                by=signer, meaning=Signature.Meaning.RECORDED, subject=SUBJECT, subject_id=record_of.pk,
                content=record_content(record_of), at=at,
            )  # fmt: skip
        why = "" if allowed else _("The role of %(name)s does not include it.") % {"name": person.name}
        made = RecordSigning.objects.create(
            construct=record_of, role=role, person=person, name=person.name, signature=signature,
            unsigned_why=why, signed_at=moment(happened_at, at), at=at, by=by,
        )  # fmt: skip
        lines = [Line("record_signing", made.pk, "", "signed" if allowed else "unsigned")]
        return made, lines + ([] if allowed else [_chased(made, by, at)])

    def work() -> tuple[RecordSigning, ...]:
        constructs = _locked(case, construct)
        _check_person(constructs, role, person)
        todo = [record_of for record_of in constructs if not _holds_already(record_of, role, person)]
        if not todo:
            raise Refusal(
                "signed-already",
                _("%(name)s has signed this record, and it has not changed since.") % {"name": person.name},
                _("Nothing more to do."),
            )
        made, lines = [], []
        for record_of in todo:
            lines += _end_before(record_of, role, at, by, allowed=allowed)
            row, new = one(record_of)
            made.append(row)
            lines += new
        lines += right_marked(own_role=own_role, case=case, by=by, at=at)
        _record(case, "record.sign", by, at, happened_at, client_key, made, lines)
        return tuple(made)

    return _once("record.sign", by, client_key, work)


def record_leave_unsigned(
    *,
    by: Person,
    case: Case,
    role: str,
    name: str,
    why: str,
    at: datetime,
    person: Person | None = None,
    construct: Construct | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> tuple[RecordSigning, ...]:
    """Name the person who stands for a record and has not signed it here, with the cause; it is chased.

    So also from paper: `happened_at` is the paper's own time. Raises Refusal "no-such-seat", "name-missing",
    "say-why", "same-person", "signed-already" (somebody has signed in this role, and it holds); NotAllowed.
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_role(role)
    named = (person.name if person is not None else name).strip()
    if not named:
        raise Refusal("name-missing", _("Nobody is named."), _("Write whose record it is."), field="name")
    if not why.strip():
        raise Refusal("say-why", _("No cause is given."), _("Say why it is not signed here."), field="why")

    def work() -> tuple[RecordSigning, ...]:
        constructs = _locked(case, construct)
        _check_person(constructs, role, person)
        made, lines = [], []
        for record_of in constructs:
            if _holds_already(record_of, role, None):
                continue
            lines += _end_before(record_of, role, at, by, allowed=False)
            row = RecordSigning.objects.create(
                construct=record_of, role=role, person=person, name=named[:120],
                unsigned_why=why.strip()[:200],
                signed_at=moment(happened_at, at), at=at, by=by,
            )  # fmt: skip
            made.append(row)
            lines += [Line("record_signing", row.pk, "", "unsigned"), _chased(row, by, at)]
        if not made:
            raise Refusal(
                "signed-already", _("This role has signed, and the record has not changed since."),
                _("Nothing more to do."),
            )  # fmt: skip
        lines += right_marked(own_role=own_role, case=case, by=by, at=at)
        _record(case, "record.leave-unsigned", by, at, happened_at, client_key, made, lines)
        return tuple(made)

    return _once("record.leave-unsigned", by, client_key, work)


def _check_role(role: str) -> None:
    if role not in SignRole.values:
        raise Refusal("no-such-seat", _("Nobody signs as that."), _("Load the page again."))


def _locked(case: Case, construct: Construct | None) -> list[Construct]:
    """The records to sign, with the case locked, so that what is signed is what stands there."""
    locking.lock(cases=[case.pk])
    rows = list(case.constructs.order_by("number"))
    for row in rows:
        row.case = case
    if construct is None:
        return rows
    return [row for row in rows if row.pk == construct.pk]


def _in_force(construct: Construct) -> list[RecordSigning]:
    return list(
        RecordSigning.objects.filter(construct=construct, replaced_at__isnull=True).select_related(
            "signature"
        )
    )


def _check_person(constructs: Sequence[Construct], role: str, person: Person | None) -> None:
    """One person stands under a record once."""
    for construct in constructs:
        for row in _in_force(construct):
            if person is not None and row.person_id == person.pk and row.role != role:
                raise Refusal(
                    "same-person",
                    _("%(name)s stands under this record as %(role)s already.")
                    % {"name": person.name, "role": str(row.get_role_display()).lower()},
                    _("Let another person sign with their own badge and PIN."),
                )


def _holds_already(construct: Construct, role: str, person: Person | None) -> bool:
    for row in _in_force(construct):
        mine = row.role == role and (person is None or row.person_id == person.pk)
        if mine and row.signature is not None:
            row.construct = construct
            return bool(signature_shows(row))
    return False


def _end_before(construct: Construct, role: str, at: datetime, by: Person, *, allowed: bool) -> list[Line]:
    """An entry of the role from before gives way; what was chased of it is settled by a signature."""
    lines = []
    for row in _in_force(construct):
        if row.role == role:
            RecordSigning.objects.filter(pk=row.pk).update(replaced_at=at)
            lines.append(
                Line("record_signing", row.pk, "signed" if row.signature else "unsigned", "replaced")
            )
    if allowed:
        open_marks = Mark.objects.filter(
            construct=construct, kind=MarkKind.UNSIGNED, words__startswith=SignRole(role).value,
            cleared_at__isnull=True,
        )  # fmt: skip
        for mark in open_marks:
            mark.cleared_at, mark.cleared_by, mark.cleared_words = at, by, _("Signed since.")
            mark.save(update_fields=["cleared_at", "cleared_by", "cleared_words"])
            lines.append(Line("mark", mark.pk, mark.kind, "cleared"))
    return lines


def _chased(row: RecordSigning, by: Person, at: datetime) -> Line:
    return unsigned_mark(row.construct, row.role, by=by, at=at, words=f"{row.name}: {row.unsigned_why}")


def unsigned_mark(construct: Construct, role: str, *, by: Person, at: datetime, words: str = "") -> Line:
    """The mark of a record that a role has not signed. It begins with the role: so it is found again."""
    return mark_within(
        case=construct.case, kind=MarkKind.UNSIGNED, by=by, at=at, construct=construct,
        words=f"{SignRole(role).value} {words}".strip(),
    )  # fmt: skip


def _record(
    case: Case,
    verb: str,
    by: Person,
    at: datetime,
    happened_at: datetime | None,
    client_key: UUID | None,
    made: Sequence[RecordSigning],
    lines: list[Line],
) -> None:
    record(
        chain=case.site.code, verb=verb, by=by, at=at, happened_at=happened_at, client_key=client_key,
        answer={"signings": [row.pk for row in made]}, lines=lines,
    )  # fmt: skip


def _once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], tuple[RecordSigning, ...]]
) -> tuple[RecordSigning, ...]:
    def replay(answer: Answer) -> tuple[RecordSigning, ...]:
        return tuple(RecordSigning.objects.filter(pk__in=answer["signings"]).order_by("construct__number"))

    return act_once(verb=verb, by=by, client_key=client_key, work=work, replay=replay)
