from django.db import models
from django.utils.translation import gettext_lazy as _


class EntryKind(models.TextChoices):
    """Why a line stands in the ledger."""

    WORK = "work", _("work done")
    CALLBACK = "callback", _("free return visit")
    REFUND = "refund", _("refund or later discount")
    CORRECTION = "correction", _("correction")
