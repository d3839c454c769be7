"""What this room hands to its pages and to programs."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class YearRate:
    """Mileage rate of a year and where it was read; ``is_own`` where the owner entered it."""

    year: int
    tenths_of_cent_per_mile: int
    source: str
    is_own: bool = False

    @property
    def dollars(self) -> str:
        """In the company's money with three places, as notices print it."""
        return f"{self.tenths_of_cent_per_mile / 1000:.3f}"
