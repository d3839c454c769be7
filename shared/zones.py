"""The time zone of a place. Boundaries: OpenStreetMap (ODbL), as the library tzfpy ships them."""

from functools import lru_cache

from tzfpy import get_tz


@lru_cache(maxsize=100_000)
def zone_at(latitude: float, longitude: float) -> str:
    """The IANA name of the zone at a place in degrees; at sea a zone by longitude such as Etc/GMT+5."""
    return get_tz(longitude, latitude)
