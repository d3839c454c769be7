"""The row that lets the clock fit the growth model and forecast every wall, each night."""

from datetime import timedelta

from django.db import migrations
from django.utils import timezone

TASK = "chalking.nightly"
EVERY_MINUTES = 24 * 60
NIGHT_HOUR_UTC = 8  # three in the morning on the East coast, midnight on the West coast


def add(apps, editor):
    night = timezone.now().replace(hour=NIGHT_HOUR_UTC, minute=0, second=0, microsecond=0)
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": EVERY_MINUTES, "next_due_at": night + timedelta(days=1)}
    )


def remove(apps, editor):
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("chalking", "0001_forecasts"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
