"""How the features of a job become the columns of the model, and how far each kind of column may stray from the card.

Every column is a deviation of log minutes from the card, so that 0 everywhere is the card itself. Columns come in
pairs: one for the whole company and one for the service, so that what is learnt of two storeys on house washes is
lent to gutters until gutters have jobs of their own.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

from pricing.catalogue.domain import Access, RateTerms, Soil
from pricing.minutes.domain.features import JobFeatures

USUAL_WORK_HOURS = 1.5  # the size at which the size column is 0: what the card does in an hour and a half
NO_CREW = "?"


@dataclass(frozen=True, slots=True)
class GroupPrior:
    """Columns of one kind: a first guess of their standard deviation, and how many columns that guess is worth."""

    deviation: float
    worth: float


# Standard deviations of log minutes; 0.2 says that two thirds of companies lie within 22 % of the card.
GROUPS = {
    "company": GroupPrior(0.20, 4),
    "service": GroupPrior(0.25, 4),
    "size": GroupPrior(0.15, 4),
    "size of service": GroupPrior(0.12, 4),
    "storeys": GroupPrior(0.12, 4),
    "storeys of service": GroupPrior(0.08, 4),
    "access": GroupPrior(0.12, 4),
    "access of service": GroupPrior(0.07, 4),
    "soil": GroupPrior(0.12, 4),
    "soil of service": GroupPrior(0.07, 4),
    "chalk": GroupPrior(0.05, 4),
    "chalk of service": GroupPrior(0.05, 4),
    "material": GroupPrior(0.10, 4),
    "material of service": GroupPrior(0.06, 4),
    "crew": GroupPrior(0.10, 4),
    "crew on service": GroupPrior(0.05, 4),
    "season": GroupPrior(0.06, 4),
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column's group, its name, which factor of an explanation it belongs to, and a job's value in it."""

    group: str
    name: str
    value: float


def columns_of(features: JobFeatures, rate: RateTerms) -> Iterator[Column]:
    """The columns in which the job is not 0."""
    service = features.service_code
    yield Column("company", "company", 1.0)
    yield Column("service", service, 1.0)
    size = log(features.quantity / (USUAL_WORK_HOURS * rate.units_per_crew_hour))
    yield from _pair("size", "", service, size)
    yield from _pair("storeys", "", service, features.storeys - 1.0)
    if features.access != Access.USUAL:
        yield from _pair("access", features.access, service, 1.0)
    if features.soil != Soil.USUAL:
        yield from _pair("soil", features.soil, service, 1.0)
    yield from _pair("chalk", "", service, features.chalk_reading or 0.0)
    if features.material:
        yield from _pair("material", features.material, service, 1.0)
    yield Column("crew", f"crew {features.crew_code or NO_CREW}", 1.0)
    yield Column("crew on service", f"crew {features.crew_code or NO_CREW} {service}", 1.0)
    yield Column("season", f"season {features.season or NO_CREW}", 1.0)


def _pair(kind: str, level: str, service: str, value: float) -> Iterator[Column]:
    if value:
        name = f"{kind} {level}".strip()
        yield Column(kind, name, value)
        yield Column(f"{kind} of service", f"{name} {service}", value)
