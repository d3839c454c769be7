from django.db import models
from django.utils.translation import gettext_lazy as _


class AccessLevel(models.TextChoices):
    """Labels of ``pricing.catalogue.domain.Access``."""

    EASY = "easy", _("easy access")
    USUAL = "usual", _("usual access")
    TIGHT = "tight", _("tight access")


class SoilLevel(models.TextChoices):
    """Labels of ``pricing.catalogue.domain.Soil``."""

    LIGHT = "light", _("light soil")
    USUAL = "usual", _("usual soil")
    HEAVY = "heavy", _("heavy soil")


class ForecastOrigin(models.TextChoices):
    """When a stored forecast was made. Either way it knows only of jobs done before the day of the work."""

    BOOKING = "booking", _("when the work was booked")
    REPLAY = "replay", _("later, from the jobs known that day")


class PromisedMinutes(models.TextChoices):
    """Which minutes a route allows for a job whose hours were promised."""

    MEDIAN = "q50", _("the median: 1 of 2 jobs stays within")
    MEAN = "mean", _("the mean")
    Q80 = "q80", _("so many that 4 of 5 jobs stay within")
    Q90 = "q90", _("so many that 9 of 10 jobs stay within")


class RouteMinutes(models.TextChoices):
    """Where routes take the mean from."""

    AGREED = "agreed", _("the minutes agreed on the job")
    LEARNT = "learnt", _("what was learnt from jobs like it")
