"""Orders, their versions, dose lines and screening."""

from __future__ import annotations

from django.db import models


class Order(models.Model):
    """One dose order for one patient; what was prescribed stands in its versions."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    patient = models.ForeignKey("prescriptions.Patient", on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=15)
    current = models.PositiveIntegerField(default=1)
    source = models.CharField(max_length=120)
    reference = models.CharField(max_length=120)
    received_at = models.DateTimeField()
    ready_by = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "source", "reference"], name="one_order_per_reference")]
        indexes = [models.Index(fields=["site", "state", "ready_by"])]


class OrderVersion(models.Model):
    """One version of what was prescribed, kept as the exact text that is signed."""

    append_only = True

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    substance = models.ForeignKey("prescriptions.Substance", on_delete=models.PROTECT, related_name="+")
    release = models.CharField(max_length=12, choices=[(one, one) for one in ("immediate", "prolonged")])
    route = models.CharField(max_length=20)
    reason = models.CharField(max_length=300)
    legal_basis = models.CharField(max_length=60)
    prescriber = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    prescriber_name = models.CharField(max_length=120, blank=True)
    prescriber_registration = models.CharField(max_length=40, blank=True)
    submitted_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    submitted_at = models.DateTimeField()
    starts_on = models.DateField()
    ends_on = models.DateField()
    text = models.TextField()
    digest = models.CharField(max_length=64)
    change_reason = models.CharField(max_length=200, blank=True)
    repeats = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="repeated_by")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["order", "number"], name="one_version_per_number")]


class OrderRemark(models.Model):
    """One thing said about an order: a pharmacist's query, its answer, why it was returned, amended or stopped."""

    append_only = True
    QUERY, ANSWER, RETURN, AMEND, STOP = "query", "answer", "return", "amend", "stop"

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="remarks")
    order_version = models.ForeignKey(OrderVersion, on_delete=models.PROTECT, related_name="remarks")
    what = models.CharField(max_length=10)
    text = models.CharField(max_length=500)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)


class RegimenStep(models.Model):
    """One step of a version's regimen, with its dose as calculated and as ordered after the one rounding."""

    append_only = True

    version = models.ForeignKey(OrderVersion, on_delete=models.PROTECT, related_name="steps")
    number = models.PositiveIntegerField()
    text = models.TextField()
    calculated_mg = models.DecimalField(max_digits=18, decimal_places=6)
    ordered_mg = models.DecimalField(max_digits=18, decimal_places=6)
    rounding_words = models.CharField(max_length=200)
    starts_on = models.DateField()
    ends_on = models.DateField()


class DoseLine(models.Model):
    """One distinct dose for one container: how much, when, how often, in which supply of the course.

    `schedule_text` is the exact text of when it is taken; `ready_by` is when its supply must be ready;
    `committed_to` holds the code of the plan that has reserved the line; it is a reservation, no progress.
    """

    code = models.CharField(max_length=20, unique=True)
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    order_version = models.ForeignKey(OrderVersion, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveIntegerField()
    dose_mg = models.DecimalField(max_digits=18, decimal_places=6)
    schedule_text = models.TextField()
    administrations = models.PositiveIntegerField()
    starts_on = models.DateField()
    ends_on = models.DateField()
    supply = models.PositiveSmallIntegerField(default=1)
    supplies = models.PositiveSmallIntegerField(default=1)
    ready_by = models.DateTimeField()
    committed_to = models.CharField(max_length=20, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["order_version", "number"], name="one_line_per_number"),
            models.CheckConstraint(condition=models.Q(administrations__gt=0), name="a_line_has_doses"),
            models.CheckConstraint(condition=models.Q(dose_mg__gt=0), name="a_dose_is_positive"),
        ]


class ScreenReport(models.Model):
    """One run of one screen over one order version, with what it looked at."""

    append_only = True
    PATIENT, MAKING = "patient", "making"

    order_version = models.ForeignKey(OrderVersion, on_delete=models.PROTECT, related_name="reports")
    screen = models.CharField(max_length=10)
    occasion = models.CharField(max_length=20)
    at = models.DateTimeField()
    text = models.TextField()
    digest = models.CharField(max_length=64)


class Alert(models.Model):
    """One finding of a screen on one order version; it blocks, needs a reason, or informs."""

    code = models.CharField(max_length=20, unique=True)
    order_version = models.ForeignKey(OrderVersion, on_delete=models.PROTECT, related_name="alerts")
    report = models.ForeignKey(ScreenReport, on_delete=models.PROTECT, related_name="alerts")
    screen = models.CharField(max_length=10)
    rule = models.CharField(max_length=60)
    severity = models.CharField(max_length=10)
    field = models.CharField(max_length=120)
    value = models.CharField(max_length=120, blank=True)
    limit = models.CharField(max_length=120, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    source = models.CharField(max_length=200)
    message = models.CharField(max_length=400)
    fingerprint = models.CharField(max_length=64)
    opened_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    opened_at = models.DateTimeField(null=True)
    reason = models.CharField(max_length=300, blank=True)
    reasoned_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    reasoned_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["order_version", "fingerprint"], name="one_alert_per_finding")]
