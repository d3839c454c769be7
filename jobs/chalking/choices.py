from django.db import models
from django.utils.translation import gettext_lazy as _


class DueWhen(models.TextChoices):
    """Which day of a wall's interval makes its property due."""

    EARLY = "early", _("early: one wall in ten has passed the limit by then")
    MIDDLE = "middle", _("half way: every second wall has passed the limit by then")


class Since(models.TextChoices):
    """What began the present life of a wall's surface."""

    REMOVAL = "removal", _("chalk was taken off")
    FITTED = "fitted", _("fitted or painted")
    BUILT = "built", _("house was built")
    WITHIN = "within", _("some time since the house was built; only its year is known")
    GUESSED = "guessed", _("judged by the readings; only the year of the house is known")
    UNKNOWN = "unknown", _("not known")


class Refusal(models.TextChoices):
    """Why a wall has no days. Empty where it has them."""

    NONE = "", _("none")
    NO_START = "no_start", _("nobody knows since when it weathers")
    TOO_WIDE = "too_wide", _("too little data")
