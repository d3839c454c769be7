from datetime import date

from django.db import models
from django.utils.translation import gettext_lazy as _

# Days that can be planned. Outside, an instant of the day may be none that a clock can name.
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2099, 12, 31)


class PlanState(models.TextChoices):
    DRAFT = "draft", _("draft")
    SENT_OUT = "sent_out", _("sent out")
    CHANGED = "changed", _("changed since it was sent out")


class RunState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("working")
    DONE = "done", _("done")
    FAILED = "failed", _("failed")


class WeekState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("working")
    DONE = "done", _("proposed")
    TAKING_OVER = "taking_over", _("being taken over")
    TAKEN_OVER = "taken_over", _("taken over")
    FAILED = "failed", _("failed")


class PlanObjective(models.TextChoices):
    """What the best plan is best in. The values are those of `routing.solver`."""

    VALUE = "value", _("most money for the day")
    RATIO = "ratio", _("most per paid crew-hour")


class CrewNews(models.TextChoices):
    """What may happen to a crew during the day."""

    DROPS_OUT = "drops_out", _("drops out at")
    STARTS_LATE = "starts_late", _("starts only at")


class LeftOutReason(models.TextChoices):
    NOT_WORTH_A_SLOT = "not_worth_a_slot", _("not worth the time it takes")
    NO_CREW_WITH_SKILL = "no_crew_with_skill", _("no crew on shift has the skill")
    WINDOW_UNREACHABLE = "window_unreachable", _("no crew can be there inside its window")
    UNREACHABLE = "unreachable", _("no road leads there and back")
    CREW_HOURS_FULL = "crew_hours_full", _("the crews' hours are full")
    NO_PLACE = "no_place", _("the property has no place on the map")
    TAKEN_OUT = "taken_out", _("taken out by hand")
    PLANNED_ELSEWHERE = "planned_elsewhere", _("promised for this day, but in another plan")


class ChangeKind(models.TextChoices):
    """What a person may do to a plan by hand."""

    MOVE = "move", _("move")
    UP = "up", _("earlier")
    DOWN = "down", _("later")
    LOCK = "lock", _("lock to this crew")
    UNLOCK = "unlock", _("unlock")
    TAKE_OUT = "take_out", _("take out")
    PUT_IN = "put_in", _("put in")
