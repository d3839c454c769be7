from typing import Any

from django.db import transaction

from routing.dispatch.models import Rig
from routing.plans.models import Truck
from shared.events.services import event_record

FIELDS = frozenset((
    "drawn_ml", "out_ml", "measured_on", "flow_ml_per_minute", "pressure_psi", "jug_ml", "eyewash_ml",
))  # fmt: skip


@transaction.atomic
def rig_set(*, truck: Truck, actor: Any = None, **fields: Any) -> Rig:
    """What a truck washes with, as it was measured. `fields` are those of FIELDS. Raises ValidationError, TypeError."""
    unknown = fields.keys() - FIELDS
    if unknown:
        raise TypeError(f"A rig has no {', '.join(sorted(unknown))}.")
    row = Rig.objects.filter(truck=truck).first() or Rig(truck=truck)
    for name, value in fields.items():
        setattr(row, name, value)
    row.full_clean(exclude=["truck"])
    row.save()
    event_record(kind="rig.measured", subject=truck, actor=actor, data={"drawn": row.drawn_ml, "out": row.out_ml})
    return row
