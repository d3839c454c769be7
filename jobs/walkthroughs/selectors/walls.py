"""Which walls a walkthrough has to look at."""

from jobs.customers.models import Material, Property
from jobs.walkthroughs.inputs import SIDES, LeftOutInput, WalkthroughInput, WallInput

UNCHALKED = (Material.BRICK,)  # no binder that weathers to powder; common practice, no source


def untested_walls(place: Property, entry: WalkthroughInput) -> list[str]:
    """Names of walls that the entry neither tests nor leaves out with a reason. Brick needs neither."""
    said: list[WallInput | LeftOutInput] = [*entry.walls, *entry.left_out]
    ids, names = {wall.wall_id for wall in said}, {wall.name for wall in said}
    walls = list(place.walls.order_by("pk"))
    if not walls:
        return [name for name in SIDES if name not in names]
    return [
        wall.name for wall in walls if wall.material not in UNCHALKED and wall.pk not in ids and wall.name not in names
    ]
