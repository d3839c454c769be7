from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.domain import FactorKind, SurchargeKind, SurchargeWhen


class Unit(models.TextChoices):
    WALL_SQFT = "wall_sqft", _("sq ft of wall")
    FLAT_SQFT = "flat_sqft", _("sq ft")
    LINEAR_FT = "linear_ft", _("linear ft")
    PANE = "pane", _("pane")
    EACH = "each", _("each")


class FactorOf(models.TextChoices):
    STOREYS = FactorKind.STOREYS.value, _("storeys")
    ACCESS = FactorKind.ACCESS.value, _("access")
    SOIL = FactorKind.SOIL.value, _("soil")
    CHALK = FactorKind.CHALK.value, _("chalk reading")
    MATERIAL = FactorKind.MATERIAL.value, _("material")


class SurchargeIs(models.TextChoices):
    FIXED = SurchargeKind.FIXED.value, _("an amount")
    PERCENT = SurchargeKind.PERCENT.value, _("percent of the card's price")


class SurchargeOn(models.TextChoices):
    ALWAYS = SurchargeWhen.ALWAYS.value, _("always")
    STOREYS = SurchargeWhen.STOREYS.value, _("from so many storeys on")
    ACCESS = SurchargeWhen.ACCESS.value, _("at this access")
    SOIL = SurchargeWhen.SOIL.value, _("at this soil")
    CHALK = SurchargeWhen.CHALK.value, _("from this chalk reading on")
    MATERIAL = SurchargeWhen.MATERIAL.value, _("on this material")
    DRIVING = SurchargeWhen.DRIVING.value, _("from so many minutes of driving on")


class CardState(models.TextChoices):
    """Where a version of the rate card stands on a day."""

    PAST = "past", _("past")
    IN_FORCE = "in_force", _("in force")
    TO_COME = "to_come", _("to come")
    WITHDRAWN = "withdrawn", _("withdrawn")
