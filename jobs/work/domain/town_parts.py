"""Which part of its town a property lies in: the middle, or one of the four sides."""

from math import cos, hypot, radians

METRES_PER_DEGREE = 111_195  # of latitude, on a sphere of 6,371 km
CENTRE_METRES = 1_600  # a mile


def town_part(place: tuple[float, float], centre: tuple[float, float]) -> str:
    """``centre`` within a mile of the middle, else the side: north, east, south or west. Degrees (lat, lon).

    Five parts and no more: a finer net leaves too few jobs in each to tell anything. A place exactly between
    two sides belongs to north or south.
    """
    north = (place[0] - centre[0]) * METRES_PER_DEGREE
    east = (place[1] - centre[1]) * METRES_PER_DEGREE * cos(radians(centre[0]))
    if hypot(north, east) <= CENTRE_METRES:
        return "centre"
    if abs(north) >= abs(east):
        return "north" if north > 0 else "south"
    return "east" if east > 0 else "west"
