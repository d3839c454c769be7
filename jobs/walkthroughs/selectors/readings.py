from collections.abc import Collection

from django.db.models import OuterRef, QuerySet, Subquery

from jobs.customers.models import Wall
from jobs.walkthroughs.models import ChalkReading


def latest_readings(wall_ids: Collection[int]) -> dict[int, ChalkReading]:
    """The newest reading of each wall, in one query; walls that were never read are not in the answer."""
    newest = ChalkReading.objects.filter(wall=OuterRef("wall")).order_by("-read_on", "-id").values("pk")[:1]
    rows = ChalkReading.objects.filter(wall__in=wall_ids, pk=Subquery(newest))
    return {row.wall_id: row for row in rows}


def reading_list(*, wall: Wall) -> QuerySet[ChalkReading]:
    """Every reading of a wall, newest first."""
    return ChalkReading.objects.filter(wall=wall).select_related("read_by").order_by("-read_on", "-id")
