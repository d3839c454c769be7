"""The clock looks addresses up: one row, every ten minutes; it does nothing where no address register is set."""

from datetime import UTC, datetime
from typing import Any

from django.db import migrations

TASK = "customers.find_places"


def add(apps: Any, editor: Any) -> None:
    apps.get_model("background", "Schedule").objects.get_or_create(
        task=TASK, defaults={"every_minutes": 10, "next_due_at": datetime(2000, 1, 1, tzinfo=UTC)}
    )


def remove(apps: Any, editor: Any) -> None:
    apps.get_model("background", "Schedule").objects.filter(task=TASK).delete()


class Migration(migrations.Migration):
    dependencies = [("customers", "0005_address_lookup"), ("background", "0001_initial")]
    operations = [migrations.RunPython(add, remove)]
