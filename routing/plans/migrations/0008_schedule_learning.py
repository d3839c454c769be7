"""The row that lets the clock learn at night how long drives take."""

from django.db import migrations
from django.utils import timezone

TASK = "plans.learn_drives"


def add(apps, editor):
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": 24 * 60, "next_due_at": timezone.now()}
    )


def remove(apps, editor):
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("plans", "0007_learnt_drives"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
