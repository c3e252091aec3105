"""The append-only record: chains of events, each with the lines that say what moved."""

from django.db import models

from trays.ledger.laws import at_least

NO_DIGEST = "0" * 64


class Chain(models.Model):
    """One chain per site, and one for the house; its head is the last lock of every act."""

    code = models.CharField(max_length=40, unique=True)
    sequence = models.BigIntegerField(default=0)
    digest = models.CharField(max_length=64, default=NO_DIGEST)

    def __str__(self) -> str:
        return self.code


class Event(models.Model):
    """One act: who did what, when; its canonical text is hashed onto the event before it."""

    chain = models.ForeignKey(Chain, on_delete=models.PROTECT, related_name="events")
    sequence = models.BigIntegerField()
    verb = models.CharField(max_length=60)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    actor = models.ForeignKey("trays.Person", null=True, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey("trays.Place", null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=60, blank=True)
    client_key = models.UUIDField(null=True, unique=True)
    answer = models.JSONField(null=True)
    format = models.PositiveSmallIntegerField(default=1)
    text = models.TextField()
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chain", "sequence"], name="event_once_in_chain"),
            at_least("sequence", 1, "event_sequence_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.chain_id}/{self.sequence} {self.verb}"


class EventLine(models.Model):
    """One subject of an event: its states before and after, and the quantity that moved."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveIntegerField()
    subject = models.CharField(max_length=30)
    subject_id = models.BigIntegerField()
    before = models.CharField(max_length=40, blank=True)
    after = models.CharField(max_length=40, blank=True)
    quantity = models.IntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["event", "number"], name="event_line_once")]
        # For the history of one thing, and for the sum that must equal its stock.
        indexes = [models.Index(fields=["subject", "subject_id"], name="event_line_subject")]

    def __str__(self) -> str:
        return f"{self.subject} {self.subject_id}"
