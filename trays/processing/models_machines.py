"""Machines and what they run: programmes, the day's tests, runs with their logs and indicators, decisions."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import Pack
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person, Signature


class MachineKind(models.TextChoices):
    WASHER = "washer", _("Washer-disinfector")
    STERILIZER = "sterilizer", _("Sterilizer")


class Machine(models.Model):
    """A washer-disinfector or a sterilizer, and how much goes in."""

    Kind = MachineKind

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="machines")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="machines")
    packs = models.PositiveSmallIntegerField()
    out_since = models.DateTimeField(null=True, blank=True)
    out_reason = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ["site", "kind", "code"]
        constraints = [
            one_of("kind", MachineKind, "machine_kind"),
            at_least("packs", 1, "machine_capacity"),
            models.UniqueConstraint(fields=["site", "code"], name="machine_once_at_site"),
            models.CheckConstraint(
                condition=Q(out_since__isnull=True) | ~Q(out_reason=""), name="machine_out_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Programme(models.Model):
    """What a site's machines of one kind run, with the least values it must reach, from a day on.

    Temperatures in degrees Celsius, `hold_seconds` within the band, A0 in seconds, F0 and `minutes` (how
    long the whole cycle usually takes) in minutes. A later row of the same code takes the earlier one's
    place.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="programmes")
    kind = models.CharField(max_length=12, choices=MachineKind.choices)
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    valid_from = models.DateField()
    low_celsius = models.DecimalField(max_digits=5, decimal_places=1)
    high_celsius = models.DecimalField(max_digits=5, decimal_places=1)
    hold_seconds = models.PositiveIntegerField()
    least_a0 = models.PositiveIntegerField(null=True, blank=True)
    least_f0 = models.PositiveIntegerField(null=True, blank=True)
    minutes = models.PositiveSmallIntegerField()
    immediate_use = models.BooleanField(default=False)
    withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["site", "kind", "code", "valid_from"]
        constraints = [
            one_of("kind", MachineKind, "programme_kind"),
            models.UniqueConstraint(
                fields=["site", "kind", "code", "valid_from"], name="programme_once_from_a_day"
            ),
            models.CheckConstraint(
                condition=Q(high_celsius__gt=F("low_celsius")), name="programme_band_has_width"
            ),
            at_least("minutes", 1, "programme_takes_time"),
        ]

    def __str__(self) -> str:
        return self.name


class DayTestRule(models.Model):
    """A test that each machine of a kind must pass on a day before it takes anything."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="day_test_rules")
    kind = models.CharField(max_length=12, choices=MachineKind.choices)
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["site", "kind", "code"]
        constraints = [
            one_of("kind", MachineKind, "day_test_rule_kind"),
            models.UniqueConstraint(
                fields=["site", "kind", "code", "valid_from"], name="day_test_rule_once_from_a_day"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class DayTest(models.Model):
    """One result of one test of one machine on one day. Tests may be repeated; the latest counts."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="day_tests")
    rule = models.ForeignKey(DayTestRule, on_delete=models.PROTECT, related_name="+")
    day = models.DateField()
    passed = models.BooleanField()
    note = models.CharField(max_length=160, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["machine", "day"], name="day_test_of_the_day")]

    def __str__(self) -> str:
        return f"{self.rule_id} of {self.machine_id} on {self.day}"


class RunState(models.TextChoices):
    FILLING = "filling", _("Being filled")
    RUNNING = "running", _("Running")
    ENDED = "ended", _("Ended, not yet decided")
    PASSED = "passed", _("Passed")
    FAILED = "failed", _("Failed")
    BROKEN_OFF = "broken_off", _("Not run")


class Run(models.Model):
    """One cycle of one machine and what was in it: a wash, or a sterilizer's load.

    A load is *passed* when a permitted person has released it. `verdict` is what the machine itself said.
    """

    State = RunState
    OPEN = (State.FILLING, State.RUNNING, State.ENDED)

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="runs")
    number = models.PositiveIntegerField()
    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=12, choices=State.choices, default=State.FILLING)
    implants = models.BooleanField(default=False)
    immediate_use = models.BooleanField(default=False)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    verdict = models.CharField(
        max_length=8, blank=True, choices=[("passed", _("Passed")), ("failed", _("Failed"))]
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    signature = models.ForeignKey(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # Released while an indicator is outstanding: why, and who besides.
    early_reason = models.CharField(max_length=200, blank=True)
    early_with = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("state", RunState, "run_state"),
            models.UniqueConstraint(fields=["machine", "number"], name="run_number_once"),
            models.UniqueConstraint(
                fields=["machine"], condition=Q(state="filling"), name="run_one_being_filled"
            ),
            models.UniqueConstraint(fields=["machine"], condition=Q(state="running"), name="run_one_running"),
            models.CheckConstraint(
                condition=Q(state__in=["filling", "broken_off"]) | Q(started_at__isnull=False),
                name="run_started",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["passed", "failed"])
                | Q(decided_at__isnull=False, decided_by__isnull=False, ended_at__isnull=False),
                name="run_decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(implants=True, immediate_use=True), name="run_no_implants_for_immediate_use"
            ),
            models.CheckConstraint(
                condition=Q(early_with__isnull=True, early_reason="")
                | Q(~Q(early_reason=""), early_with__isnull=False, signature__isnull=False),
                name="run_early_with_reason",
            ),
            models.CheckConstraint(
                condition=~Q(state="passed") | Q(verdict="passed"), name="run_passed_as_its_machine_says"
            ),
        ]
        # For the loads of a machine since a moment.
        indexes = [models.Index(fields=["machine", "-started_at"], name="run_of_machine")]

    def __str__(self) -> str:
        return f"{self.machine_id} {self.number}"


class RunPack(models.Model):
    """A pack in a run, in one of its rounds. `open` while the run is: a pack is in one open run at most."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="packs")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="runs")
    round = models.PositiveIntegerField()
    position = models.PositiveSmallIntegerField()
    open = models.BooleanField(default=True)

    class Meta:
        ordering = ["run", "position"]
        constraints = [
            models.UniqueConstraint(fields=["run", "pack"], name="run_pack_once"),
            models.UniqueConstraint(fields=["pack"], condition=Q(open=True), name="pack_in_one_open_run"),
        ]

    def __str__(self) -> str:
        return f"{self.pack_id} in {self.run_id}"


class RunLog(models.Model):
    """A run's temperatures as its machine wrote them, and what was worked out of them. Never changed.

    `readings` is a list of [seconds from the first, degrees Celsius]. `hold_seconds` is the longest stretch
    within the programme's band, `a0` in seconds, `f0` in minutes.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="logs")
    imported_at = models.DateTimeField()
    imported_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    digest = models.CharField(max_length=64)
    first_at = models.DateTimeField(null=True)
    readings = models.JSONField()
    lowest_in_hold = models.FloatField(null=True)
    highest_in_hold = models.FloatField(null=True)
    hold_seconds = models.FloatField()
    a0 = models.FloatField()
    f0 = models.FloatField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "digest"], name="run_log_once")]

    def __str__(self) -> str:
        return f"log of {self.run_id}"


class IndicatorKind(models.TextChoices):
    """ISO 11140-1 types for chemical ones; numbers name types, not ranks."""

    PROCESS = "process", _("Type 1, process")
    AIR_REMOVAL = "air_removal", _("Type 2, air removal")
    SINGLE = "single", _("Type 3, single variable")
    MULTI = "multi", _("Type 4, several variables")
    INTEGRATING = "integrating", _("Type 5, integrating")
    EMULATING = "emulating", _("Type 6, emulating")
    BIOLOGICAL = "biological", _("Biological")


class IndicatorResult(models.TextChoices):
    OUTSTANDING = "outstanding", _("Outstanding")
    PASSED = "passed", _("Passed")
    FAILED = "failed", _("Failed")


class Indicator(models.Model):
    """One indicator that was in a run. A biological one is *passed* when nothing grew."""

    Kind = IndicatorKind
    Result = IndicatorResult

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="indicators")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    lot = models.CharField(max_length=20, blank=True)
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    due_at = models.DateTimeField(null=True, blank=True)
    result = models.CharField(max_length=12, choices=Result.choices, default=Result.OUTSTANDING)
    read_at = models.DateTimeField(null=True, blank=True)
    read_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("kind", IndicatorKind, "indicator_kind"),
            one_of("result", IndicatorResult, "indicator_result"),
            models.CheckConstraint(
                condition=Q(result="outstanding", read_at__isnull=True)
                | Q(~Q(result="outstanding"), read_at__isnull=False, read_by__isnull=False),
                name="indicator_read_by_somebody",
            ),
        ]
        # For the results that are still owed.
        indexes = [models.Index(fields=["due_at"], condition=Q(result="outstanding"), name="indicator_owed")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.run_id}"
