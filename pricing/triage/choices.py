from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.triage.domain.leads import Advice


class Choice(models.TextChoices):
    """What was advised, and what a person decided."""

    TAKE = Advice.TAKE.value, _("take")
    THIN_DAY = Advice.THIN_DAY.value, _("only on a thin day")
    TAKE_AT = Advice.TAKE_AT.value, _("take at a higher price")
    DECLINE = Advice.DECLINE.value, _("decline kindly")


class OutcomeKind(models.TextChoices):
    AGREED = "agreed", _("agreed")
    REFUSED = "refused", _("the customer said no")
    DECLINED = "declined", _("we declined")
