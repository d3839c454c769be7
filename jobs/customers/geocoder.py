"""Addresses to places through a register that speaks the open Nominatim interface, by setting; off by default.

The public service's terms allow one request a second with a name of our own, and the answers to be kept
(operations.osmfoundation.org/policies/nominatim); the caller keeps the pace. The data is OpenStreetMap's, under the
ODbL: pages that show an answer name it.
"""

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from geopy.exc import GeocoderQueryError, GeocoderServiceError, GeopyError
from geopy.geocoders import Nominatim
from geopy.location import Location

from jobs.customers.domain.address_match import Candidate
from jobs.customers.errors import LookupFailed, NoGeocoder
from jobs.customers.models import Property

ANSWER_SECONDS = 10
MOST_CANDIDATES = 5
ATTRIBUTION = "© OpenStreetMap contributors, ODbL"


def is_on() -> bool:
    return bool(settings.WALLDAY_GEOCODER_URL)


def candidates_for(place: Property) -> list[Candidate]:
    """What the register answers for the property's address, best first. Never call it inside a transaction.

    Raises NoGeocoder where none is set, LookupFailed where the register cannot be asked or answers nonsense.
    """
    asked = {
        "street": place.street,
        "city": place.city,
        "state": place.region,
        "postalcode": place.postal_code,
    }
    try:
        found: Any = _register().geocode(
            {name: text for name, text in asked.items() if text},
            exactly_one=False,
            limit=MOST_CANDIDATES,
            addressdetails=True,
            country_codes=settings.WALLDAY_GEOCODER_COUNTRIES or None,
        )
        return [_candidate(location) for location in found or []]
    except GeocoderQueryError as error:
        raise LookupFailed(_("The address register does not understand the address.")) from error
    except (GeocoderServiceError, GeopyError) as error:
        raise LookupFailed(_("The address register cannot be asked just now.")) from error
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise LookupFailed(_("The address register gave an answer that makes no sense.")) from error


def _register() -> Nominatim:
    if not is_on():
        raise NoGeocoder(_("No address register is set (WALLDAY_GEOCODER_URL)."))
    address = urlsplit(settings.WALLDAY_GEOCODER_URL)
    return Nominatim(
        scheme=address.scheme,
        domain=address.netloc + address.path.rstrip("/"),
        user_agent=settings.WALLDAY_GEOCODER_AGENT,
        timeout=ANSWER_SECONDS,
    )


def _candidate(location: Location) -> Candidate:
    """From the register's own words: geopy would wrap a latitude of 140 round the pole and take a missing one for 0."""
    details = location.raw.get("address") or {}
    latitude, longitude = float(location.raw["lat"]), float(location.raw["lon"])
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError("A place outside the world.")
    return Candidate(
        latitude=latitude,
        longitude=longitude,
        text=str(location.address)[:200],
        house_number=str(details.get("house_number", ""))[:20],
        postal_code=str(details.get("postcode", ""))[:20],
    )
