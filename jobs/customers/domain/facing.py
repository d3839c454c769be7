"""Which way a wall looks, told from the street: nobody carries a compass to every wall."""

# A person on the street looks at the front, against its facing; what is on the left looks a quarter turn clockwise
# of the front, because left of somebody who looks north is west.
TURNS = {"front": 0, "left": 90, "back": 180, "right": 270}


def facing_of_side(front_degrees: int, side: str) -> int:
    """Degrees (0 to 359) of a side seen from the street, where the front looks to `front_degrees`."""
    return (front_degrees + TURNS[side]) % 360
