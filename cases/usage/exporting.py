"""The implant record as files: lines for a spreadsheet, all of it for another program. None names a patient.

What each field is stands in docs/implant-record.md.
"""

import base64
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.usage import queries
from cases.usage.kinds import Shown
from cases.usage.models import Mark
from cases.usage.models_closing import CaseClosing
from cases.usage.models_record import Explant, SurgeonDecision
from cases.usage.queries_record import signings
from cases.usage.reading import Implants, Part, Piece, implants_of

FORMAT, FORMAT_NUMBER = "trayspan implant record", 1


def record_heads() -> list[str]:
    """The heads of the lines."""
    return [
        _("Case"), _("Construct"), _("Side"), _("Slot"), _("No."), _("Component"), _("Name"), _("Size"),
        _("Supplier"), _("Agency"), _("Item number"), _("Lot"), _("Serial"), _("Use by"), _("Made"),
        _("Production identifiers"), _("Code as scanned"), _("Opened"), _("How it ended"), _("When"), _("By"),
        _("Why"), _("Card"), _("Known as"), _("Taken all the same"), _("Marked"),
    ]  # fmt: skip


def record_lines(case: Case) -> Iterator[list[Any]]:
    """One line for each piece, also those that were wasted or went back, by construct and slot."""
    seen = implants_of(case)
    for part, slot, piece in _pieces(seen):
        one, component = piece.brought, piece.brought.component
        yield [
            case.reference, part.construct.number if part else None, part.side if part else "", slot,
            one.number, component.code if component else "", queries.piece_name(one), piece.size,
            component.supplier.name if component else "", one.agency, one.di, one.lot, one.serial,
            one.expires, one.made_on, " ".join(f"({key}){value}" for key, value in one.pis),
            _text(bytes(one.raw)), _moment(one.opened_at),
            one.get_fate_display() if one.fate else "", _moment(one.fate_at),
            one.fate_by.name if one.fate_by else "",
            ", ".join(filter(None, (one.get_why_display() if one.why else "", one.why_words))),
            one.get_card_display() if one.card else "", one.get_source_display(),
            ": ".join(filter(None, (one.override_name, one.override_reason))),
            ", ".join(str(mark.get_kind_display()) for mark in piece.marks),
        ]  # fmt: skip


def record_data(case: Case) -> dict[str, Any]:
    """The whole record in plain values: codes as they are in the program, moments in ISO form."""
    seen = implants_of(case)
    closing = CaseClosing.objects.select_related("senior", "by").filter(case=case).first()
    return {
        "format": FORMAT,
        "format_number": FORMAT_NUMBER,
        "case": case.reference,
        "site": case.site.code,
        "day": case.list.day.isoformat(),
        "theatre": case.list.theatre.name,
        "procedure": case.procedure.code,
        "surgeon": case.surgeon.name if case.surgeon else None,
        "constructs": [_construct(part) for part in seen.parts],
        "without_a_construct": {
            "pieces": [_piece(piece) for piece in seen.loose],
            "explants": [_explant(one) for one in seen.explants if one.construct_id is None],
            "decisions": [_decision(one) for one in seen.decisions if one.construct_id is None],
        },
        "corrected": [
            {**_piece(Piece(one)), "corrected_at": _moment(one.replaced_at)} for one in seen.before
        ],
        "signatures": [_signature(one, seen) for one in signings(case)],
        "open_marks": [_mark(one) for one in queries.marks_of(case) if one.cleared_at is None],
        "closed": _closed(closing) if closing is not None else None,
    }


def _pieces(seen: Implants) -> Iterator[tuple[Part | None, str, Piece]]:
    for part in seen.parts:
        for slot in part.slots:
            for piece in slot.pieces:
                yield part, slot.name, piece
        for piece in part.loose:
            yield part, "", piece
    for piece in seen.loose:
        yield None, "", piece


def _construct(part: Part) -> dict[str, Any]:
    return {
        "number": part.construct.number,
        "side": part.construct.side,
        "fits": part.check.fits,
        "missing": list(part.check.missing),
        "pieces": [
            {"slot": slot.name, **_piece(piece)} for slot in part.slots for piece in slot.pieces
        ] + [{"slot": None, **_piece(piece)} for piece in part.loose],
        "pairs": [
            {"a": pair.a, "b": pair.b, "fits": pair.fits, "source": pair.source} for pair in part.check.pairs
        ],
        "decisions": [
            _decision(one) for one in part.decisions if one.construct_id == part.construct.pk
        ],
        "explants": [_explant(one) for one in part.explants],
        "stop_moment": None
        if part.stop is None
        else {
            "at": _moment(part.stop.at), "said": part.stop.said, "complete": part.stop.complete,
            "digest": part.stop.digest,
        },
    }  # fmt: skip


def _decision(one: SurgeonDecision) -> dict[str, Any]:
    return {
        "over": one.over, "about": one.about, "surgeon": one.surgeon_name, "reason": one.reason,
        "at": _moment(one.at),
    }  # fmt: skip


def _explant(one: Explant) -> dict[str, Any]:
    return {
        "what": one.what, "device": one.di or None, "lot": one.lot or None, "serial": one.serial or None,
        "reason": one.reason or None, "whereto": one.whereto, "at": _moment(one.at),
    }  # fmt: skip


def _signature(one: Shown, seen: Implants) -> dict[str, Any]:
    numbers = {part.construct.pk: part.construct.number for part in seen.parts}
    return {
        "construct": numbers[one.construct_id], "role": one.role, "name": one.name, "at": _moment(one.at),
        "meaning": str(one.meaning) or None, "signed": one.signed, "holds": one.holds,
        "unsigned_why": one.why or None,
    }  # fmt: skip


def _closed(closing: CaseClosing) -> dict[str, Any]:
    return {
        "at": _moment(closing.at), "by_exception": closing.by_exception, "reason": closing.reason or None,
        "words": closing.words or None, "open_then": closing.waited,
        "senior": closing.senior.name if closing.senior else None,
    }  # fmt: skip


def _piece(piece: Piece) -> dict[str, Any]:
    one, component = piece.brought, piece.brought.component
    return {
        "number": one.number,
        "corrects": one.corrects.number if one.corrects is not None else None,
        "component": component.code if component else None,
        "described": queries.piece_name(one),
        "agency": one.agency or None,
        "device": one.di or None,
        "production": one.pis,
        "lot": one.lot or None,
        "serial": one.serial or None,
        "use_by": _day(one.expires),
        "made_on": _day(one.made_on),
        "raw_base64": base64.b64encode(bytes(one.raw)).decode(),
        "source": one.source,
        "typed_reason": one.typed_reason or None,
        "override": {"name": one.override_name, "reason": one.override_reason}
        if one.override_reason
        else None,
        "brought_at": _moment(one.brought_at),
        "opened_at": _moment(one.opened_at),
        "fate": one.fate or None,
        "why": one.why or None,
        "why_words": one.why_words or None,
        "fate_at": _moment(one.fate_at),
        "fate_by": one.fate_by.name if one.fate_by else None,
        "card": one.card or None,
        "marks": [_mark(mark) for mark in piece.marks],
    }


def _mark(mark: Mark) -> dict[str, Any]:
    return {"kind": mark.kind, "words": mark.words, "at": _moment(mark.made_at)}


def _moment(at: datetime | None) -> str | None:
    return at.isoformat() if at is not None else None


def _day(day: date | None) -> str | None:
    return day.isoformat() if day is not None else None


def _text(raw: bytes) -> str:
    """The bytes of the carrier as one line: separators, which cannot be printed, as |."""
    letters = (letter if letter.isprintable() else "|" for letter in raw.decode("latin-1"))
    return "".join(letters)
