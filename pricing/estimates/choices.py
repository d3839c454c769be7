from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.estimates.domain.money import PriceWhy as Why


class EstimateState(models.TextChoices):
    DRAFT = "draft", _("not sent")
    SENT = "sent", _("sent")
    ACCEPTED = "accepted", _("accepted")
    DECLINED = "declined", _("declined")
    TAKEN_BACK = "taken_back", _("taken back")


OPEN = (EstimateState.DRAFT, EstimateState.SENT)


class PriceWhy(models.TextChoices):
    """What decided a line's price."""

    CARD = Why.CARD.value, _("the rate card")
    TARGET = Why.TARGET.value, _("its hours at the target")
    LEAST = Why.LEAST.value, _("materials and its hours at the reserve")
    OFFICE = Why.OFFICE.value, _("the office")


class DriveBasis(models.TextChoices):
    """Where the share of driving comes from."""

    DAYS = "days", _("where it adds least to the days planned lately")
    THERE_AND_BACK = "there_and_back", _("there and back, shared by the stops of a usual route")
    BOOKED = "booked", _("the average of the jobs booked")
    UNKNOWN = "unknown", _("not known, counted as nothing")
    OFFICE = "office", _("set by the office")


class SentBy(models.TextChoices):
    EMAIL = "email", _("by email")
    TEXT = "text", _("by text message")
    PAPER = "paper", _("on paper or shown on the spot")


class MessageKind(models.TextChoices):
    SENT = "sent", _("the estimate")
    EXPIRING = "expiring", _("it ends soon")
    ACCEPTED = "accepted", _("what was agreed")
