"""The clock sends what waits: one row for the dispatcher, every minute."""

from datetime import UTC, datetime
from typing import Any

from django.db import migrations

TASK = "outbox.dispatch"


def add(apps: Any, editor: Any) -> None:
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": 1, "next_due_at": datetime(2000, 1, 1, tzinfo=UTC)}
    )


def remove(apps: Any, editor: Any) -> None:
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("outbox", "0001_initial"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
