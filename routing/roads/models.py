from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

LAST_MINUTE = 1439
LEAST_PERCENT, MOST_PERCENT = 10, 150
PERCENTS = ("motorway_percent", "main_percent", "street_percent", "last_mile_percent")
"""Columns of TrafficHours in the order of routing.roads.domain.speeds.GROUPS."""
THE_TABLE = 1  # the key of the one row of TrafficTable


class RoadMap(models.Model):
    """A road graph made from an extract. The graph itself is a file, named by its version, in the data folder."""

    version = models.CharField(max_length=16, unique=True, help_text="digest of the graph: the same roads, the same")
    source = models.CharField(max_length=200, help_text="name of the extract")
    built_at = models.DateTimeField()
    is_current = models.BooleanField(default=False)
    nodes = models.PositiveIntegerField()
    arcs = models.PositiveIntegerField(help_text="streets between two nodes, counted once for each direction driven")
    summary = models.JSONField(default=dict, help_text="what was kept, what was ignored and why, by count")

    class Meta:
        ordering = ("-built_at", "-pk")
        constraints = [
            models.UniqueConstraint(
                fields=["is_current"],
                condition=models.Q(is_current=True),
                name="roads_one_current_map",
                violation_error_message=_("There is a road map in use already."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.source} ({self.version})"


def percent_field(text: Any) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(
        text,
        default=100,
        validators=[MinValueValidator(LEAST_PERCENT), MaxValueValidator(MOST_PERCENT)],
        help_text="speed that traffic leaves, in percent of the free one",
    )


class TrafficTable(models.Model):
    """The one row that counts the changes of the traffic hours, so that two people do not overwrite each other."""

    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"traffic hours, version {self.version}"


class TrafficHours(models.Model):
    """Hours of a working day with like traffic, from a minute of the day to where the next ones begin."""

    name = models.CharField(max_length=40)
    from_minute = models.PositiveSmallIntegerField(
        unique=True, validators=[MaxValueValidator(LAST_MINUTE)], help_text="minutes after local midnight"
    )
    motorway_percent = percent_field(_("motorways and trunk roads"))
    main_percent = percent_field(_("main roads"))
    street_percent = percent_field(_("streets"))
    last_mile_percent = percent_field(_("service and private ways"))

    class Meta:
        ordering = ("from_minute",)
        verbose_name_plural = "traffic hours"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(from_minute__lte=LAST_MINUTE),
                name="roads_hours_within_day",
                violation_error_message=_("The hours begin within the day."),
            ),
            *(
                models.CheckConstraint(
                    condition=models.Q(**{f"{name}__gte": LEAST_PERCENT, f"{name}__lte": MOST_PERCENT}),
                    name=f"roads_{name}_range",
                    violation_error_message=_("A speed is 10 to 150 percent of the free one."),
                )
                for name in PERCENTS
            ),
        ]

    def __str__(self) -> str:
        return self.name


class DriveRow(models.Model):
    """Drives that were computed: from a point of the streets to others, or from those back to it, on a version of the
    map, at some speeds. Points are numbers of `Snap`.

    Rows may be deleted at any time; they are computed again. Two that hold the same drive hold the same figures.
    """

    version = models.CharField(max_length=16)
    speeds = models.CharField(max_length=20, help_text="key of the hours' speeds")
    place = models.BigIntegerField()
    is_back = models.BooleanField(help_text="from the others to the place")
    others = models.BinaryField(help_text="numbers of 8 bytes, the lowest byte first")
    milliseconds = models.BinaryField(help_text="numbers of 4 bytes, the lowest byte first; -1 where there is no way")
    decimetres = models.BinaryField(help_text="as milliseconds")

    class Meta:
        indexes = [models.Index(fields=["version", "speeds", "place"], name="roads_rows_of_place")]

    def __str__(self) -> str:
        return f"{'to' if self.is_back else 'from'} {self.place}"


class RoadWay(models.Model):
    """A way that was searched: its line and its turns, from one place to another on a version of the map.

    Rows may be deleted at any time; they are searched again.
    """

    version = models.CharField(max_length=16)
    speeds = models.CharField(max_length=20, help_text="key of the hours' speeds")
    start = models.CharField(max_length=24, help_text="latitude,longitude in degrees")
    end = models.CharField(max_length=24)
    line = models.JSONField(help_text="pairs of latitude and longitude")
    steps = models.JSONField(help_text="turns with streets and metres, as routing.roads.domain.steps.Step")
    is_road = models.BooleanField(help_text="false where no road leads there and the line is straight")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["version", "speeds", "start", "end"],
                name="roads_one_way",
                violation_error_message=_("This way is known already."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.start} to {self.end}"
