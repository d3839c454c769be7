from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


class Company(models.Model):
    """The firm itself: one row, made on first use by `company_get`."""

    name = models.CharField(max_length=120, default="My washing company")
    street = models.CharField(max_length=120, blank=True)
    city = models.CharField(max_length=80, blank=True)
    region = models.CharField(max_length=40, blank=True)
    postal_code = models.CharField(max_length=20, blank=True)
    country = models.CharField(max_length=2, default="US", help_text="ISO 3166-1 alpha-2")
    phone_e164 = models.CharField(max_length=16, blank=True)
    email = models.EmailField(blank=True)
    timezone = models.CharField(max_length=60, default="America/New_York", help_text="IANA name")
    currency = models.CharField(max_length=3, default="USD", help_text="ISO 4217")
    wage_burden_percent = models.PositiveSmallIntegerField(
        default=12,
        validators=[MaxValueValidator(100)],
        help_text=_("Employer's taxes and insurance on top of wages, in percent"),
    )
    reminder_lead_days = models.PositiveSmallIntegerField(
        default=30, help_text=_("How many days before the due date a property appears on the due list")
    )
    reminder_gap_days = models.PositiveSmallIntegerField(
        default=60, help_text=_("Least number of days between two reminders to one customer")
    )

    class Meta:
        verbose_name_plural = "company"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(pk=1),
                name="company_single_row",
                violation_error_message=_("There is one company only."),
            ),
            models.CheckConstraint(condition=models.Q(wage_burden_percent__lte=100), name="company_burden_at_most_100"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def postal_address(self) -> str:
        """One line as mail and messages print it; empty parts are left out."""
        place = " ".join(part for part in (self.region, self.postal_code) if part)
        return ", ".join(part for part in (self.street, self.city, place) if part)
