"""The row that lets the clock look for planning runs whose process has ended."""

from django.db import migrations
from django.utils import timezone

TASK = "plans.reap_runs"


def add(apps, editor):
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": 2, "next_due_at": timezone.now()}
    )


def remove(apps, editor):
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("plans", "0002_rules"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
