"""What a booking must say: each check refuses with its code, one sentence and the next step.

`facts["field"]` names the field of a form at which the sentence belongs; `facts["slot"]` the slot.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from cases.bookings.kinds import CancelReason, FamilySheet, PredictedSize
from cases.bookings.models import Case, Prediction, Procedure, TheatreList
from trays.catalogue.models import Side
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.web.errors import Refusal

REFERENCE_LENGTH = 40
LONGEST_MINUTES = 24 * 60
LAST_POSITION = 200
DAYS_BACK = 5 * 366
DAYS_AHEAD = 2 * 366
# A list that begins in the evening may run past midnight, up to this hour.
NIGHT_ENDS = 6


def reference_checked(reference: str) -> str:
    """The local reference without blanks around it."""
    kept = reference.strip()
    if not kept or len(kept) > REFERENCE_LENGTH or not kept.isprintable():
        raise Refusal(
            "reference-unreadable",
            _("A local reference has 1 to %(most)s letters and figures.") % {"most": REFERENCE_LENGTH},
            _("Give the case's reference from your own system, never a name."),
            field="reference",
        )
    return kept


def reference_free(*, site: Site, reference: str, but: Case | None = None) -> None:
    """Refuse a reference that another case of the site has."""
    others = Case.objects.filter(site=site, reference=reference)
    if but is not None:
        others = others.exclude(pk=but.pk)
    if others.exists():
        raise reference_taken(reference)


def reference_taken(reference: str) -> Refusal:
    return Refusal(
        "duplicate-reference",
        _("There is already a case %(reference)s at this site.") % {"reference": reference},
        _("Check the number; change the other case if it is the same one."),
        field="reference",
    )


def sides_checked(procedure: Procedure, sides: Sequence[str]) -> tuple[str, ...]:
    """The sides of the constructs to make: left before right, or "none" for a procedure without sides."""
    given = [str(side) for side in sides if str(side)]
    unknown = [side for side in given if side not in Side.values]
    if unknown:
        raise Refusal(
            "side-unknown",
            _("“%(side)s” is not a side.") % {"side": unknown[0][:20]},
            _("Say left, right, or both."),
            field="side",
        )
    named = [side for side in given if side != Side.NONE]
    if len(set(named)) != len(named):
        raise Refusal(
            "side-twice",
            _("The same side is given twice."),
            _("Give each side once."),
            field="side",
        )
    if procedure.sided and (not named or len(named) != len(given)):
        raise Refusal(
            "side-missing",
            _("%(procedure)s needs a side.") % {"procedure": procedure.name},
            _("Choose left, right, or both sides."),
            field="side",
        )
    if not procedure.sided and named:
        raise Refusal(
            "side-not-needed",
            _("%(procedure)s has no side.") % {"procedure": procedure.name},
            _("Leave the side out, or choose another procedure."),
            field="side",
        )
    return tuple(sorted(named)) or (Side.NONE.value,)


def prediction_checked(
    sheet: FamilySheet, side: str, predicted: PredictedSize, *, slot_name: str = ""
) -> PredictedSize:
    """The prediction, if its sizes are this family's and its method and confidence are known.

    `slot_name` goes before the sentence of a refusal; a form says it beside its field instead.
    """
    if predicted.low_rank > predicted.high_rank:
        raise Refusal(
            "low-above-high",
            _named(slot_name, _("The lowest size is above the highest.")),
            _("Give the smaller size first."),
            field="low",
        )
    marks = sheet.marks(side)
    ranks = {mark.rank for mark in marks}
    if predicted.low_rank not in ranks or predicted.high_rank not in ranks:
        raise outside_family(sheet, side, slot_name=slot_name)
    if predicted.method not in Prediction.Method.values:
        raise Refusal(
            "method-unknown",
            _named(slot_name, _("It is not said how the size was predicted.")),
            _("Choose one of: %(methods)s.")
            % {"methods": ", ".join(str(label) for label in Prediction.Method.labels)},
            field="method",
        )
    if predicted.confidence is not None and not 0 < predicted.confidence <= 1:
        raise Refusal(
            "confidence-out-of-range",
            _named(slot_name, _("The confidence lies above 0 and up to 100 in 100.")),
            _("Give a number from 1 to 100, or leave it out."),
            field="confidence",
        )
    return predicted


def _named(slot_name: str, sentence: str) -> str:
    return f"{slot_name}: {sentence}" if slot_name else sentence


def outside_family(sheet: FamilySheet, side: str, *, slot_name: str = "", field: str = "low") -> Refusal:
    """The refusal of a size that the family does not have, with those that it has."""
    marks = sheet.marks(side)
    if not marks:
        next_step = _("It has no sizes on file: import its components, or choose another family.")
    else:
        next_step = _("Its sizes go from %(first)s to %(last)s.") % {
            "first": marks[0].label,
            "last": marks[-1].label,
        }
    return Refusal(
        "outside-family",
        _named(slot_name, _("That size is not one of %(family)s.") % {"family": sheet.family.name}),
        next_step,
        field=field,
    )


def minutes_checked(minutes: int) -> int:
    if not 1 <= minutes <= LONGEST_MINUTES:
        raise Refusal(
            "minutes-out-of-range",
            _("A case takes from 1 to %(most)s minutes.") % {"most": LONGEST_MINUTES},
            _("Give the estimated length in minutes."),
            field="minutes",
        )
    return minutes


def position_checked(position: int | None) -> int | None:
    if position is not None and not 1 <= position <= LAST_POSITION:
        raise Refusal(
            "position-out-of-range",
            _("A position is a number from 1 to %(most)s.") % {"most": LAST_POSITION},
            _("Leave it out to put the case at the end."),
            field="position",
        )
    return position


def urgency_checked(urgency: str) -> str:
    if urgency not in Case.Urgency.values:
        raise Refusal(
            "urgency-unknown",
            _("“%(urgency)s” is not an urgency.") % {"urgency": urgency[:20]},
            _("Say planned or emergency."),
            field="urgency",
        )
    return urgency


def start_checked(theatre_list: TheatreList, starts_at: datetime) -> datetime:
    """The start, if it lies on the list's day, or in the night that follows it."""
    local = starts_at.astimezone(ZoneInfo(theatre_list.site.zone))
    night = local.hour < NIGHT_ENDS and local.date() == theatre_list.day + timedelta(days=1)
    if local.date() != theatre_list.day and not night:
        raise Refusal(
            "start-off-the-day",
            _("The start is not on the day of the list."),
            _("Give a time on that day, or choose the list of the other day."),
            field="starts",
        )
    return starts_at


def day_checked(theatre: Place, day: date, session: str, *, at: datetime) -> None:
    """Refuse a list that is not in a theatre, in an unknown session, or years away."""
    if theatre.kind != Place.Kind.THEATRE:
        raise Refusal(
            "not-a-theatre",
            _("%(place)s is not a theatre.") % {"place": theatre.name},
            _("Choose one of the site's theatres."),
            field="theatre",
        )
    if session not in TheatreList.Session.values:
        raise Refusal(
            "session-unknown",
            _("“%(session)s” is not a session.") % {"session": session[:20]},
            _("Say all day, morning, afternoon or evening."),
            field="session",
        )
    away = (day - site_day(theatre.site, at)).days
    if not -DAYS_BACK <= away <= DAYS_AHEAD:
        raise Refusal(
            "day-too-far",
            _("That day is too far away to be meant."),
            _("Check the year."),
            field="day",
        )


def still_booked(case: Case) -> None:
    """Refuse to change, move or cancel a case that is opened, closed or cancelled."""
    if case.status != Case.Status.BOOKED:
        raise Refusal(
            "not-booked-any-more",
            _("Case %(reference)s is %(status)s.")
            % {"reference": case.reference, "status": case.get_status_display().lower()},
            _("Only a booked case can be changed, moved or cancelled."),
        )


def reason_checked(reason: str) -> str:
    if reason not in CancelReason.values:
        raise Refusal(
            "reason-unknown",
            _("It is not said why the case is cancelled."),
            _("Choose one of the reasons."),
            field="reason",
        )
    return reason
