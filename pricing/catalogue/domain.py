"""What a rate card and an hourly target say, as plain values for calculation."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RateTerms:
    """One service on the rate card in force. Rates of work are for a two-person crew.

    Prices and materials are cents per 100 of the service's unit, so that a price of 22.5 cents a square foot
    is a whole number.
    """

    service_code: str
    service_name: str
    unit: str
    price_cents_per_100_units: int
    minimum_price_cents: int
    materials_cents_per_100_units: int
    setup_minutes: int
    units_per_crew_hour: int  # one storey
    units_per_crew_hour_high: int  # two storeys or more


@dataclass(frozen=True, slots=True)
class HourlyTargetTerms:
    """What a crew-hour should earn, and the least that it must bring in, for a two-person crew."""

    target_cents_per_crew_hour: int
    reserve_cents_per_crew_hour: int
