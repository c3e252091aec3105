"""What is asked of orders and deliveries: shape and type; what may be is decided by the services."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.catalogue.queries import component_by_gtin, search
from trays.orders.ending import CANCELS, CLOSES
from trays.orders.models import Order, OrderKind, OrderLine, OrderState, SendWay
from trays.orders.services import LineAnswer
from trays.parties.models import Site, Tenure
from trays.places.models import Place, PlaceKind
from trays.staff.models import RoleKind
from trays.stock.models_arrivals import Condition
from trays.web.acting import KeyForm, new_key
from trays.web.errors import Refusal
from trays.web.filters import GetForm

WHICH = (
    ("", _("Open")),
    ("draft", _("To approve")),
    ("approved", _("To send")),
    ("out", _("On their way")),
    ("late", _("Late")),
    ("ended", _("Ended")),
)


class DayInput(forms.DateInput):
    """A day, by the device's own calendar."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class ListFilter(GetForm):
    """Which orders."""

    which = forms.ChoiceField(choices=WHICH, required=False)


class ItemForm(KeyForm):
    """A component by its code, its trade item number or its name: typed, or as a scanner left it."""

    item = forms.CharField(
        label=_("Item"),
        max_length=80,
        help_text=_("Its code, the number under its bars, or part of its name."),
    )

    def component(self) -> Component:
        """The one component that is meant. Raises Refusal "no-such-item", "several-items"."""
        text = self.cleaned_data["item"].strip()
        rows = Component.objects.select_related("family", "supplier")
        if exact := rows.filter(code__iexact=text).first():
            return exact
        if text.isascii() and text.isdigit() and (known := component_by_gtin(text)):
            return known[0]
        found = search(text, 4)
        if not found:
            raise Refusal(
                "no-such-item",
                gettext("No item on file has “%(text)s” in its code or name.") % {"text": text},
                gettext("Type its code as the catalogue has it."),
            )
        if len(found) > 1:
            raise Refusal(
                "several-items",
                gettext("Several items have that in their name: %(some)s …")
                % {"some": ", ".join(f"{one.name} ({one.code})" for one in found[:3])},
                gettext("Type the code of the one that is meant."),
            )
        return rows.get(pk=found[0].pk)


class DraftForm(ItemForm):
    """An order by hand: what, how many, what kind of order."""

    quantity = forms.IntegerField(
        label=_("How many"), min_value=1, max_value=100_000, help_text=_("In pieces.")
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=OrderKind.choices, initial=OrderKind.STOCK)
    needed_by = forms.DateField(label=_("Needed by"), required=False, widget=DayInput())

    field_order = ("item", "quantity", "kind", "needed_by")


class AddForm(ItemForm):
    """One more line of a draft."""

    quantity = forms.IntegerField(label=_("How many"), min_value=1, max_value=100_000)

    field_order = ("item", "quantity")


class LineForm(KeyForm):
    """Another quantity or price on one line of a draft; a page has one for each line."""

    quantity = forms.IntegerField(label=_("How many"), min_value=1, max_value=100_000)
    price = forms.DecimalField(
        label=_("Price each"), min_value=0, max_digits=11, decimal_places=4, required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "price"}),
    )  # fmt: skip

    def __init__(self, *args: Any, line_id: int, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"%s-{line_id}", **kwargs)
        self.line_id = line_id

    @classmethod
    def of(cls, line: OrderLine, price: str) -> "LineForm":
        """The form as the line stands."""
        initial = {**new_key(), "quantity": line.quantity, "price": price}
        return cls(line_id=line.pk, initial=initial)


class ApproveForm(KeyForm):
    """One's own PIN."""

    pin = forms.CharField(
        label=_("Your PIN"),
        max_length=12,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class SendForm(KeyForm):
    """How it went out."""

    way = forms.ChoiceField(
        label=_("How it goes to the supplier"), choices=SendWay.choices, widget=forms.RadioSelect
    )


class ConfirmForm(KeyForm):
    """What the supplier says of each open line: how many come, and when."""

    suppliers_number = forms.CharField(label=_("The supplier's number for it"), max_length=40, required=False)

    def __init__(
        self, *args: Any, lines: list[OrderLine], brings: bool, due_on: date | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.brings = lines, brings
        for line in lines:
            words = {"number": line.number}
            self.fields[f"quantity_{line.pk}"] = forms.IntegerField(
                label=gettext("Line %(number)s: how many") % words, min_value=0, max_value=line.quantity,
                initial=line.quantity if line.confirmed_quantity is None else line.confirmed_quantity,
            )  # fmt: skip
            if brings:
                self.fields[f"day_{line.pk}"] = forms.DateField(
                    label=gettext("Line %(number)s: on which day") % words, required=False, widget=DayInput(),
                    initial=line.confirmed_for or due_on,
                )  # fmt: skip

    def rows(self) -> list[tuple[OrderLine, Any, Any]]:
        """Each line with its fields."""
        return [
            (line, self[f"quantity_{line.pk}"], self[f"day_{line.pk}"] if self.brings else None)
            for line in self.lines
        ]

    def answers(self) -> list[LineAnswer]:
        given = self.cleaned_data
        return [
            LineAnswer(line.pk, given[f"quantity_{line.pk}"], given.get(f"day_{line.pk}"))
            for line in self.lines
        ]


class EndForm(KeyForm):
    """Why an order ends before everything has come."""

    reason = forms.ChoiceField(label=_("Why"), widget=forms.RadioSelect)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        reasons = CANCELS if cancels(order) else CLOSES
        billed = [one for one in reasons if one != Order.End.BILLED or not order.brings]
        self.fields["reason"].choices = [(one.value, one.label) for one in billed]  # type: ignore[attr-defined]


def cancels(order: Order) -> bool:
    """Whether ending the order is cancelling it: nothing has gone out, or it is not wanted any more."""
    return order.state in (OrderState.DRAFT, OrderState.APPROVED) or (
        order.state in (OrderState.SENT, OrderState.CONFIRMED) and order.brings
    )


class BeginForm(KeyForm):
    """A delivery that begins: where it is put down, whose it is."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("Put down at"), empty_label=None)
    tenure = forms.ChoiceField(
        label=_("Whose the goods are"),
        choices=((Tenure.OWNED, _("Ours")), (Tenure.CONSIGNED, _("The supplier's, until used"))),
        widget=forms.RadioSelect,
    )
    note_number = forms.CharField(label=_("Number of the delivery note"), max_length=40, required=False)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = (PlaceKind.STORE, PlaceKind.SHELF)
        self.fields["place"].queryset = Place.objects.filter(site=site, kind__in=kinds)  # type: ignore[attr-defined]


class HandForm(ItemForm):
    """What a label says, where no scanner reads it or a decision is needed."""

    lot = forms.CharField(label=_("Lot"), max_length=20, required=False)
    serial = forms.CharField(label=_("Serial"), max_length=20, required=False)
    expires = forms.DateField(label=_("Use by"), required=False, widget=DayInput())
    count = forms.IntegerField(label=_("How many"), min_value=1, max_value=100_000, initial=1)
    condition = forms.ChoiceField(
        label=_("How it arrived"), choices=Condition.choices, widget=forms.RadioSelect, initial=Condition.GOOD
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    field_order = ("item", "lot", "serial", "expires", "count", "condition", "note")


class LimitsForm(KeyForm):
    """For each role that approves: up to how much, or any amount."""

    def __init__(self, *args: Any, roles: list[RoleKind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.roles = roles
        for role in roles:
            words = {"role": role.label}
            self.fields[f"amount_{role.value}"] = forms.DecimalField(
                label=gettext("%(role)s: up to") % words, min_value=0, max_digits=11, decimal_places=2,
                required=False,
            )  # fmt: skip
            self.fields[f"any_{role.value}"] = forms.BooleanField(
                label=gettext("%(role)s: any amount") % words, required=False
            )

    def rows(self) -> list[tuple[Any, Any]]:
        return [(self[f"amount_{role.value}"], self[f"any_{role.value}"]) for role in self.roles]

    def amounts(self) -> dict[str, Any]:
        """By role an amount, None = any; a role with neither may approve nothing."""
        given = self.cleaned_data
        made: dict[str, Any] = {}
        for role in self.roles:
            if given[f"any_{role.value}"]:
                made[role.value] = None
            elif given[f"amount_{role.value}"] is not None:
                made[role.value] = given[f"amount_{role.value}"]
        return made
