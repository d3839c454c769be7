"""The owner's table of speeds by hour and class of road.

What was computed before stays valid: it is kept by the speeds themselves, so a changed table finds none of it for
hours whose speeds are others. What no hours of the table use any more is thrown away.
"""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from routing.roads.domain.speeds import DEFAULT_HOURS, FREE, MOST_HOURS, HourClass, TableFault, table_fault
from routing.roads.models import PERCENTS, THE_TABLE, DriveRow, RoadWay, TrafficHours, TrafficTable
from routing.roads.selectors import traffic_hours, traffic_table
from shared.background.services import enqueue
from shared.errors import Refused, Stale
from shared.events.services import event_record
from shared.web.words import clock_words

LEARN_AGAIN = "plans.learn_drives"  # what was learnt is a comparison with the speeds of before
CHANGED, RESTORED = "roads.traffic.changed", "roads.traffic.restored"


@transaction.atomic
def traffic_hours_set(*, hours: Sequence[HourClass], seen_version: int, actor: Any = None) -> TrafficTable:
    """Put the hours in place of the table; they may come in any order.

    Raises Refused where they make no table, Stale where somebody changed it after `seen_version`.
    """
    _check(hours)
    table = _next_version(seen_version)
    before = {hour.key for hour in traffic_hours()}
    TrafficHours.objects.all().delete()
    TrafficHours.objects.bulk_create(_row(hour) for hour in hours)
    _forget(before - {hour.key for hour in hours})
    enqueue(LEARN_AGAIN)
    event_record(kind=CHANGED, subject=table, actor=actor, data={"hours": len(hours)})
    return table


@transaction.atomic
def traffic_hours_restore(*, seen_version: int, actor: Any = None) -> TrafficTable:
    """Back to the starting values. Raises Stale where somebody changed the table after `seen_version`."""
    table = _next_version(seen_version)
    before = {hour.key for hour in traffic_hours()}
    TrafficHours.objects.all().delete()
    _forget(before - {hour.key for hour in DEFAULT_HOURS})
    enqueue(LEARN_AGAIN)
    event_record(kind=RESTORED, subject=table, actor=actor)
    return table


def _check(hours: Sequence[HourClass]) -> None:
    found = table_fault(hours)
    if found is None:
        return
    fault, hour = found
    words = {
        TableFault.EMPTY: _("Name at least one row of hours, or restore the starting values."),
        TableFault.TOO_MANY: _("A day is cut into %(most)d rows at most.") % {"most": MOST_HOURS},
        TableFault.SAME_NAME: _("Two rows are called %(name)s.") % {"name": hour.name if hour else ""},
        TableFault.SAME_BEGINNING: _("Two rows begin at %(time)s.")
        % {"time": clock_words(hour.from_minute if hour else None)},
    }
    raise Refused(words[fault])


def _next_version(seen_version: int) -> TrafficTable:
    TrafficTable.objects.get_or_create(pk=THE_TABLE)
    changed = TrafficTable.objects.filter(pk=THE_TABLE, version=seen_version).update(version=F("version") + 1)
    if not changed:
        raise Stale(_("The traffic hours were changed meanwhile. Look at them again and repeat your change."))
    return traffic_table()


def _row(hour: HourClass) -> TrafficHours:
    percents = dict(zip(PERCENTS, hour.percent, strict=True))
    return TrafficHours(name=hour.name, from_minute=hour.from_minute, **percents)


def _forget(speeds: set[str]) -> None:
    unused = speeds - {FREE.key}
    for kept in (DriveRow, RoadWay):
        kept.objects.filter(speeds__in=unused).delete()
