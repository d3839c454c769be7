from django.db import models
from django.utils.translation import gettext_lazy as _


class JobState(models.TextChoices):
    LEAD = "lead", _("lead")
    ESTIMATED = "estimated", _("estimated")
    AGREED = "agreed", _("agreed")
    PLANNED = "planned", _("planned")
    ON_SITE = "on_site", _("on site")
    DONE = "done", _("done")
    DECLINED = "declined", _("declined")
    CALLED_OFF = "called_off", _("called off")
