"""The row that lets the clock learn from the day's bookings at night."""

from django.db import migrations
from django.utils import timezone

TASK = "minutes.learn"


def add(apps, editor):
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": 24 * 60, "next_due_at": timezone.now()}
    )


def remove(apps, editor):
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("minutes", "0001_initial"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
