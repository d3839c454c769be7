from django.db import models
from django.utils.translation import gettext_lazy as _


class Unit(models.TextChoices):
    WALL_SQFT = "wall_sqft", _("sq ft of wall")
    FLAT_SQFT = "flat_sqft", _("sq ft")
    LINEAR_FT = "linear_ft", _("linear ft")
    PANE = "pane", _("pane")
    EACH = "each", _("each")
