from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


class Worker(models.Model):
    """Somebody who is paid by the hour. Not everybody who works signs in, so this is no user."""

    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~models.Q(name=""), name="worker_has_name")]

    def __str__(self) -> str:
        return self.name


class WorkerTerms(models.Model):
    """A worker's crew and wage from a day on, until the next row. Without a crew: not with us from that day."""

    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="terms")
    effective_from = models.DateField()
    crew_code = models.CharField(max_length=20, blank=True, help_text=_("empty: in no crew from this day on"))
    cents_per_hour = models.PositiveIntegerField()
    burden_percent = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(100)],
        help_text=_("Employer's taxes and insurance, in percent; empty: the company's"),
    )

    class Meta:
        ordering = ["worker__name", "-effective_from"]
        verbose_name_plural = "worker terms"
        constraints = [
            models.UniqueConstraint(fields=["worker", "effective_from"], name="worker_terms_once_a_day"),
            models.CheckConstraint(
                condition=models.Q(burden_percent__isnull=True) | models.Q(burden_percent__lte=100),
                name="worker_burden_at_most_100",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.worker} from {self.effective_from}"
