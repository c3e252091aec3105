"""Forms of bookings: shape and type, and the words beside the fields."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, cast
from uuid import uuid4
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings import checks
from cases.bookings.kinds import CancelReason, PlanSheet
from cases.bookings.models import Case, TheatreList
from cases.bookings.queries import ListRow, procedures_to_book, surgeons_at, theatres_at
from trays.catalogue.models import Family
from trays.exchange.columns import FIRST_YEAR, LAST_YEAR
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person
from trays.web.errors import Refusal

BOTH = "both"
SIDES = (
    ("left", gettext_lazy("left")),
    ("right", gettext_lazy("right")),
    (BOTH, gettext_lazy("both sides")),
    ("none", gettext_lazy("no side")),
)
REFERENCE_HINT = gettext_lazy(
    "Your own reference for the case. Never a name, a birthday or a patient's number."
)


def rows_set(form: forms.Form, name: str, rows: QuerySet[Any]) -> None:
    """Give a field the rows to choose from."""
    cast(forms.ModelChoiceField, form.fields[name]).queryset = rows


def choices_set(form: forms.Form, name: str, choices: Sequence[tuple[Any, Any]]) -> None:
    """Give a field its choices."""
    cast(forms.ChoiceField, form.fields[name]).choices = list(choices)


class TheatreChoice(forms.ModelChoiceField):
    """Theatres with their site behind the name."""

    def label_from_instance(self, obj: Any) -> str:
        return str(obj.name) if obj.site.name in obj.name else f"{obj.name}, {obj.site.name}"


class KeyedForm(forms.Form):
    """A form that books, changes or moves something once, however often it is sent."""

    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["client_key"].initial = uuid4

    def refuse(self, refused: Refusal) -> None:
        """Say a refusal at its field, or above the form if the form has no such field."""
        at_field = refused.facts.get("field")
        self.add_error(at_field if at_field in self.fields else None, refused.as_error())


class SessionForm(forms.Form):
    """Theatre, day and session: which list."""

    theatre = TheatreChoice(
        label=gettext_lazy("Theatre"), queryset=Place.objects.none(), empty_label=gettext_lazy("choose"),
        error_messages={"required": gettext_lazy("Choose a theatre.")},
    )  # fmt: skip
    day = forms.DateField(
        label=gettext_lazy("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"required": gettext_lazy("Give the day.")},
    )  # fmt: skip
    session = forms.ChoiceField(
        label=gettext_lazy("Session"), choices=TheatreList.Session.choices,
        initial=TheatreList.Session.ALL_DAY,
    )  # fmt: skip

    def __init__(self, *args: Any, sites: Iterable[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site_ids = [site.pk for site in sites]
        rows_set(self, "theatre", theatres_at(self.site_ids))

    def clean_day(self) -> date:
        """A day of which the next can be reckoned; the service judges whether it is near enough."""
        day: date = self.cleaned_data["day"]
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise forms.ValidationError(_("That day is too far away to be meant. Check the year."))
        return day


class FirstForm(SessionForm):
    """The first step: what is to be done, to which side, by whom, where and when."""

    procedure = forms.ModelChoiceField(
        label=gettext_lazy("Procedure"), queryset=procedures_to_book(), empty_label=gettext_lazy("choose"),
        error_messages={"required": gettext_lazy("Choose a procedure.")},
    )  # fmt: skip
    side = forms.ChoiceField(
        label=gettext_lazy("Side of the patient"), choices=SIDES, widget=forms.RadioSelect, required=False,
        help_text=gettext_lazy("“No side” only for a procedure that has none."),
    )  # fmt: skip
    surgeon = forms.ModelChoiceField(
        label=gettext_lazy("Surgeon"), queryset=Person.objects.none(), required=False,
        empty_label=gettext_lazy("not known yet"),
    )  # fmt: skip
    field_order = ("procedure", "side", "surgeon", "theatre", "day", "session")

    def __init__(self, *args: Any, sites: Iterable[Site], **kwargs: Any) -> None:
        super().__init__(*args, sites=sites, use_required_attribute=False, **kwargs)
        rows_set(self, "surgeon", surgeons_at(self.site_ids))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        procedure = given.get("procedure")
        if procedure is not None and "side" not in self.errors:
            try:
                self.sides = checks.sides_checked(procedure, sides_of(given.get("side", "")))
            except Refusal as refused:
                self.add_error("side", refused.as_error())
        return given


def sides_of(choice: str) -> list[str]:
    """The sides that one choice of the page stands for."""
    return {BOTH: ["left", "right"], "none": [], "": []}.get(choice, [choice])


class SecondForm(KeyedForm):
    """The second step: place on the list, estimate, reference."""

    reference = forms.CharField(
        label=gettext_lazy("Local case reference"), max_length=checks.REFERENCE_LENGTH,
        help_text=REFERENCE_HINT,
        error_messages={"required": gettext_lazy("Give the case a reference.")},
    )  # fmt: skip
    position = forms.TypedChoiceField(
        label=gettext_lazy("Position on the list"), required=False, coerce=int, empty_value=None
    )
    starts = forms.TimeField(
        label=gettext_lazy("Estimated start"), required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=gettext_lazy("Left empty, it is estimated from the case before."),
    )  # fmt: skip
    minutes = forms.IntegerField(
        label=gettext_lazy("Minutes"), required=False, min_value=1, max_value=checks.LONGEST_MINUTES
    )
    urgency = forms.ChoiceField(
        label=gettext_lazy("Urgency"), choices=Case.Urgency.choices, initial=Case.Urgency.PLANNED,
        widget=forms.RadioSelect,
    )  # fmt: skip
    planner = forms.ModelChoiceField(
        label=gettext_lazy("Sizes predicted by"), queryset=Person.objects.none(), required=False,
        empty_label=gettext_lazy("not known"),
    )  # fmt: skip

    def __init__(
        self, *args: Any, sheet: PlanSheet, minutes: int, row: ListRow | None, first: FirstForm, **kwargs: Any
    ) -> None:
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.first, self.sheet = first, sheet
        choices_set(self, "position", positions_to_choose(row))
        rows_set(self, "planner", surgeons_at(first.site_ids))
        self.fields["planner"].initial = first.cleaned_data.get("surgeon")
        self.fields["minutes"].help_text = _("Left empty, the usual %(minutes)s.") % {"minutes": minutes}

    def starts_at(self) -> datetime | None:
        """The start on the list's day by the clock of its site, None if nobody gave one."""
        given = self.first.cleaned_data
        clock = self.cleaned_data.get("starts")
        return start_on(given["day"], clock, given["session"], given["theatre"].site)


def positions_to_choose(row: ListRow | None) -> list[tuple[Any, str]]:
    """The end, or before one of the cases that are on the list."""
    cases = row.cases if row else ()
    choices: list[tuple[Any, str]] = [("", _("At the end") if cases else _("First"))]
    for case in cases:
        words = {"position": case.position, "procedure": case.procedure.name, "reference": case.reference}
        choices.append((case.position, _("%(position)s, before %(procedure)s %(reference)s") % words))
    return choices


def start_on(day: date, clock: time | None, session: str, site: Site) -> datetime | None:
    """A time of the list's day; the small hours of an evening list are those of the night after."""
    if clock is None:
        return None
    if session == TheatreList.Session.EVENING and clock.hour < checks.NIGHT_ENDS:
        day += timedelta(days=1)
    return datetime.combine(day, clock, tzinfo=ZoneInfo(site.zone))


class ChangeForm(KeyedForm):
    """What may change while a case stays where it is."""

    reference = forms.CharField(
        label=gettext_lazy("Local case reference"), max_length=checks.REFERENCE_LENGTH,
        help_text=REFERENCE_HINT,
        error_messages={"required": gettext_lazy("Give the case a reference.")},
    )  # fmt: skip
    surgeon = forms.ModelChoiceField(
        label=gettext_lazy("Surgeon"), queryset=Person.objects.none(), required=False,
        empty_label=gettext_lazy("not known yet"),
    )  # fmt: skip
    starts = forms.TimeField(
        label=gettext_lazy("Estimated start"),
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    minutes = forms.IntegerField(label=gettext_lazy("Minutes"), min_value=1, max_value=checks.LONGEST_MINUTES)
    urgency = forms.ChoiceField(
        label=gettext_lazy("Urgency"), choices=Case.Urgency.choices, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        local = case.starts_at.astimezone(ZoneInfo(case.site.zone))
        initial = {
            "reference": case.reference,
            "surgeon": case.surgeon_id,
            "starts": local.time(),
            "minutes": case.minutes,
            "urgency": case.urgency,
        }
        super().__init__(*args, initial=initial, use_required_attribute=False, **kwargs)
        self.case = case
        # The surgeon the case has stays to be chosen, also one who no longer works here.
        own = Person.objects.filter(pk__in=[case.surgeon_id])
        rows_set(self, "surgeon", surgeons_at([case.site_id]) | own)

    def starts_at(self) -> datetime | None:
        """The start, None if it was left as it is, so that it keeps its seconds."""
        if "starts" not in self.changed_data:
            return None
        list_ = self.case.list
        return start_on(list_.day, self.cleaned_data["starts"], list_.session, self.case.site)


class FamilyForm(forms.Form):
    """The family of one slot of a booked case."""

    family = forms.ChoiceField(label=gettext_lazy("Family"))

    def __init__(
        self, data: Any = None, *, slot_id: int, name: str, side: str,
        families: Sequence[tuple[int, str]], chosen: int,
    ) -> None:  # fmt: skip
        super().__init__(data, prefix=f"slot-{slot_id}", initial={"family": str(chosen)})
        self.slot_id, self.name, self.side = slot_id, name, side
        choices_set(self, "family", [(str(pk), label) for pk, label in families])
        self.fields["family"].label = name

    def chosen_family(self) -> Family:
        return Family.objects.get(pk=self.cleaned_data["family"])


class PredictForm(KeyedForm):
    """Who predicted; the sizes stand in their own forms."""

    planner = forms.ModelChoiceField(
        label=gettext_lazy("Predicted by"), queryset=Person.objects.none(), required=False,
        empty_label=gettext_lazy("not known"),
    )  # fmt: skip

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, use_required_attribute=False, **kwargs)
        rows_set(self, "planner", surgeons_at([case.site_id]))
        self.fields["planner"].initial = case.surgeon_id


class CancelForm(KeyedForm):
    """Why a case is cancelled; nothing is chosen beforehand."""

    reason = forms.ChoiceField(
        label=gettext_lazy("Reason"), choices=CancelReason.choices, widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose the reason.")},
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, use_required_attribute=False, **kwargs)


class MoveForm(SessionForm, KeyedForm):
    """Where a case goes, at which position, about when."""

    position = forms.IntegerField(
        label=gettext_lazy("Position on that list"), required=False, min_value=1,
        max_value=checks.LAST_POSITION, help_text=gettext_lazy("Left empty, it goes to the end."),
    )  # fmt: skip
    starts = forms.TimeField(
        label=gettext_lazy("Estimated start"), required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=gettext_lazy("Left empty, it is estimated from the case before."),
    )  # fmt: skip

    def __init__(
        self, *args: Any, case: Case, sites: Iterable[Site], to: TheatreList | None = None, **kwargs: Any
    ) -> None:
        here = to or case.list
        initial = {"theatre": here.theatre_id, "day": here.day, "session": here.session}
        super().__init__(*args, sites=sites, initial=initial, use_required_attribute=False, **kwargs)

    def starts_at(self) -> datetime | None:
        given = self.cleaned_data
        return start_on(given["day"], given["starts"], given["session"], given["theatre"].site)


class OrderForm(KeyedForm):
    """One move on a list: the order that was on the page, and what goes where.

    `move` is "up 12", "down 12" (case ids) or "to 12", with the new position in the field `to-12`; or it is
    "all", with the whole new order, case ids apart by a space, in `order`.
    """

    seen = forms.CharField(widget=forms.HiddenInput, max_length=4000)
    move = forms.CharField(max_length=40)
    order = forms.CharField(max_length=4000, required=False)

    def clean_seen(self) -> list[int]:
        return self._ids("seen")

    def clean_order(self) -> list[int]:
        return self._ids("order")

    def _ids(self, name: str) -> list[int]:
        try:
            return [int(part) for part in self.cleaned_data[name].split()]
        except ValueError:
            raise forms.ValidationError(_("Open the list again.")) from None

    def clean_move(self) -> tuple[str, int]:
        way, _space, case_id = self.cleaned_data["move"].partition(" ")
        if way == "all":
            return way, 0
        if way not in ("up", "down", "to") or not case_id.isdecimal():
            raise forms.ValidationError(_("Open the list again."))
        return way, int(case_id)

    def new_order(self) -> list[int]:
        """The order after the move; at an end it stays as it is."""
        way, case_id = self.cleaned_data["move"]
        if way == "all":
            return list(self.cleaned_data["order"])
        order: list[int] = list(self.cleaned_data["seen"])
        if case_id not in order:
            return order
        index = order.index(case_id)
        if way == "to":
            wanted = str(self.data.get(f"to-{case_id}", ""))
            target = int(wanted) - 1 if wanted.isdecimal() and len(wanted) < 5 else index
        else:
            target = index + (1 if way == "down" else -1)
        target = min(max(target, 0), len(order) - 1)
        order.insert(target, order.pop(index))
        return order
