"""By what the report breaks earnings down."""

from enum import StrEnum


class Breakdown(StrEnum):
    """What the jobs of one row have in common."""

    SERVICE = "service"
    STOREYS = "storeys"
    TOWN_PART = "part"
    CREW = "crew"
    SOURCE = "source"
    CUSTOMER = "customer"
    MONTH = "month"

    @property
    def may_be_dropped(self) -> bool:
        """Whether a company can do without such jobs: it can stop taking roofs, not Mays or its own crews."""
        return self in (Breakdown.SERVICE, Breakdown.STOREYS, Breakdown.TOWN_PART, Breakdown.SOURCE)

    @property
    def may_be_priced(self) -> bool:
        """Whether such jobs can have a price of their own; customers pay for the work, not for the crew."""
        return self != Breakdown.CREW
