"""Purchase orders, what was sent out of them, what came in on them, and who may approve how much."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.ledger.laws import at_least, one_of, one_of_or_none
from trays.parties.models import Party, Site, Tenure
from trays.places.models import Place
from trays.staff.models import Person, RoleKind, Signature
from trays.stock.models_arrivals import Arrival


class OrderKind(models.TextChoices):
    STOCK = "stock", _("Stock order")
    # For what was used already: to be paid, nothing to come.
    BILL_ONLY = "bill_only", _("Bill only")
    BILL_AND_REPLACE = "bill_and_replace", _("Bill and replace")
    # Short-dated or faulty goods against fresh ones: to come, nothing to pay.
    EXCHANGE = "exchange", _("Exchange")


class OrderState(models.TextChoices):
    DRAFT = "draft", _("Draft")
    APPROVED = "approved", _("Approved")
    SENT = "sent", _("Sent")
    CONFIRMED = "confirmed", _("Confirmed")
    PART_DELIVERED = "part_delivered", _("Part delivered")
    CLOSED = "closed", _("Closed")
    CANCELLED = "cancelled", _("Cancelled")


class OrderEnd(models.TextChoices):
    """Why an order is over."""

    DELIVERED = "delivered", _("Everything is here")
    BILLED = "billed", _("The invoice is here; nothing is to come")
    REST_NOT_COMING = "rest_not_coming", _("The rest is not coming")
    NOT_NEEDED = "not_needed", _("No longer needed")
    MISTAKE = "mistake", _("Ordered by mistake")
    CANNOT_SUPPLY = "cannot_supply", _("The supplier cannot supply it")
    OTHER_SOURCE = "other_source", _("It comes from elsewhere")
    NOT_APPROVED = "not_approved", _("Not approved")


class LineEnd(models.TextChoices):
    """Why a line of an order is over."""

    DELIVERED = "delivered", _("Delivered")
    TAKEN_OFF = "taken_off", _("Taken off the draft")
    NOT_CONFIRMED = "not_confirmed", _("Not confirmed by the supplier")
    WITH_ORDER = "with_order", _("Ended with the order")


class Order(models.Model):
    """One order to one supplier, in one currency. It ends with a reason and is never deleted."""

    Kind = OrderKind
    State = OrderState
    End = OrderEnd

    OPEN = (State.DRAFT, State.APPROVED, State.SENT, State.CONFIRMED, State.PART_DELIVERED)
    OUT = (State.SENT, State.CONFIRMED, State.PART_DELIVERED)
    ENDED = (State.CLOSED, State.CANCELLED)

    number = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="orders")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    state = models.CharField(max_length=15, choices=State.choices, default=State.DRAFT)
    currency = models.CharField(max_length=3)
    note = models.CharField(max_length=400, blank=True)
    needed_by = models.DateField(null=True, blank=True)
    drafted_at = models.DateTimeField()
    drafted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True, blank=True)
    approval = models.ForeignKey(Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    # When it should be here: by the supplier's lead time from the sending, then as confirmed.
    due_on = models.DateField(null=True, blank=True)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    suppliers_number = models.CharField(max_length=40, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    end = models.CharField(max_length=20, choices=OrderEnd.choices, blank=True)
    end_note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("kind", OrderKind, "order_kind"),
            one_of("state", OrderState, "order_state"),
            one_of_or_none("end", OrderEnd, "order_end"),
            models.CheckConstraint(condition=~Q(currency=""), name="order_has_currency"),
            # From its approval on it carries the signature; a draft carries none.
            models.CheckConstraint(
                condition=Q(state="draft", approval__isnull=True, approved_at__isnull=True)
                | Q(state="cancelled")
                | Q(
                    state__in=["approved", "sent", "confirmed", "part_delivered", "closed"],
                    approval__isnull=False,
                    approved_at__isnull=False,
                ),
                name="order_approved_by_signature",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "approved", "cancelled"]) | Q(sent_at__isnull=False),
                name="order_sent_when",
            ),
            models.CheckConstraint(
                condition=(
                    Q(state__in=["closed", "cancelled"], ended_at__isnull=False, ended_by__isnull=False)
                    & ~Q(end="")
                )
                | (
                    ~Q(state__in=["closed", "cancelled"])
                    & Q(ended_at__isnull=True, ended_by__isnull=True, end="")
                ),
                name="order_ended_with_reason",
            ),
        ]
        indexes = [
            # For the list of a site's orders, and for what it has on order.
            models.Index(fields=["site", "state", "due_on"], name="order_list"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        return self.state in self.OPEN

    @property
    def pays(self) -> bool:
        """Whether its lines are to be paid."""
        return self.kind != OrderKind.EXCHANGE

    @property
    def brings(self) -> bool:
        """Whether goods are to come on it."""
        return self.kind != OrderKind.BILL_ONLY


class OrderLine(models.Model):
    """So many pieces of one component at one price, and the cause that asked for it.

    `cause` is a key of whoever drafted it: while a line is open no other may be ordered for the same cause.
    `lot` and `serial` name what was used, where the order bills it.
    """

    End = LineEnd

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.PositiveIntegerField()
    unit_price = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    currency = models.CharField(max_length=3)
    cause = models.CharField(max_length=120, blank=True)
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    confirmed_quantity = models.PositiveIntegerField(null=True, blank=True)
    confirmed_for = models.DateField(null=True, blank=True)
    delivered_quantity = models.PositiveIntegerField(default=0)
    end = models.CharField(max_length=20, choices=LineEnd.choices, blank=True)

    class Meta:
        ordering = ["order", "number"]
        constraints = [
            one_of_or_none("end", LineEnd, "order_line_end"),
            at_least("quantity", 1, "order_line_quantity"),
            at_least("number", 1, "order_line_number"),
            models.CheckConstraint(condition=~Q(currency=""), name="order_line_has_currency"),
            models.CheckConstraint(
                condition=Q(unit_price__isnull=True) | Q(unit_price__gte=0), name="order_line_price"
            ),
            # More than was ordered may come; it may not be promised.
            models.CheckConstraint(
                condition=Q(confirmed_quantity__isnull=True) | Q(confirmed_quantity__lte=F("quantity")),
                name="order_line_confirmed_at_most",
            ),
            models.UniqueConstraint(fields=["order", "number"], name="order_line_once"),
            # Nothing is ordered twice for one cause.
            models.UniqueConstraint(
                fields=["cause"], condition=Q(end="") & ~Q(cause=""), name="order_line_cause_once"
            ),
        ]
        indexes = [
            # For what is on order of a component.
            models.Index(fields=["component"], condition=Q(end=""), name="order_line_open"),
        ]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.number}"

    @property
    def is_open(self) -> bool:
        return self.end == ""

    @property
    def boxes(self) -> int | None:
        """How many boxes the pieces are; None where the component comes singly."""
        multiple = self.component.order_multiple
        return self.quantity // multiple if multiple > 1 and self.quantity % multiple == 0 else None


class SendWay(models.TextChoices):
    MAIL = "mail", _("By e-mail")
    NETWORK = "network", _("Over the document network")
    SUPPLIERS_PAGE = "suppliers_page", _("On the supplier's own page")
    PHONE = "phone", _("By telephone")
    POST = "post", _("By post")


class OrderSend(models.Model):
    """An order that left the house: how, when, by whom."""

    Way = SendWay

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="sends")
    way = models.CharField(max_length=20, choices=SendWay.choices)
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [one_of("way", SendWay, "order_send_way")]

    def __str__(self) -> str:
        return f"{self.order_id} {self.way}"


class PaperFormat(models.TextChoices):
    PDF = "pdf", _("PDF")
    CSV = "csv", _("CSV")
    UBL = "xml", _("UBL order, XML")


class OrderPaper(models.Model):
    """The document exactly as it was sent, with its SHA-256; never changed."""

    Format = PaperFormat

    send = models.ForeignKey(OrderSend, on_delete=models.PROTECT, related_name="papers")
    format = models.CharField(max_length=5, choices=PaperFormat.choices)
    content = models.BinaryField()
    digest = models.CharField(max_length=64)

    class Meta:
        constraints = [
            one_of("format", PaperFormat, "order_paper_format"),
            models.UniqueConstraint(fields=["send", "format"], name="order_paper_once"),
        ]

    def __str__(self) -> str:
        return f"{self.send_id} {self.format}"


class Delivery(models.Model):
    """Goods that arrived for one order, with the number on the supplier's note."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="deliveries")
    number = models.PositiveSmallIntegerField()
    note_number = models.CharField(max_length=40, blank=True)
    # Where all of it is put down first, and whose it is.
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices)
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "deliveries"
        ordering = ["order", "number"]
        constraints = [
            one_of("tenure", Tenure, "delivery_tenure"),
            models.UniqueConstraint(fields=["order", "number"], name="delivery_once"),
            # Scans go into the delivery that is open: there is one at a time.
            models.UniqueConstraint(
                fields=["order"], condition=Q(closed_at__isnull=True), name="delivery_open_once"
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="delivery_closed_by",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.number}"


class DeliveryLine(models.Model):
    """So much of one receipt of a delivery, and the line of the order that it was for.

    `settles`: it counts for its line. What came damaged, or is set apart for exchange, settles nothing; nor
    does what was not ordered, or came over and above: that has no line at all. One that was taken back never
    was: the scan was a mistake.
    """

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    order_line = models.ForeignKey(
        OrderLine, null=True, blank=True, on_delete=models.PROTECT, related_name="deliveries"
    )
    arrival = models.ForeignKey(Arrival, on_delete=models.PROTECT, related_name="delivery_lines")
    quantity = models.PositiveIntegerField()
    settles = models.BooleanField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["delivery", "number"]
        constraints = [
            at_least("quantity", 1, "delivery_line_quantity"),
            models.CheckConstraint(
                condition=Q(taken_back_at__isnull=True, taken_back_by__isnull=True)
                | Q(taken_back_at__isnull=False, taken_back_by__isnull=False),
                name="delivery_line_taken_back_by",
            ),
            models.UniqueConstraint(fields=["delivery", "number"], name="delivery_line_once"),
            models.CheckConstraint(
                condition=Q(order_line__isnull=False) | Q(settles=False), name="delivery_line_settles_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.delivery_id}/{self.number}"


class OrderLimit(models.Model):
    """Up to how much a role may approve at a site. No amount = any; a site without any limit sets none."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="order_limits")
    role = models.CharField(max_length=20, choices=RoleKind.choices)
    amount = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3)

    class Meta:
        constraints = [
            one_of("role", RoleKind, "order_limit_role"),
            models.UniqueConstraint(fields=["site", "role"], name="order_limit_once"),
            models.CheckConstraint(
                condition=Q(amount__isnull=True) | Q(amount__gte=Decimal(0)), name="order_limit_amount"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.role} {self.amount}"
