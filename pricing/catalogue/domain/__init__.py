"""What a rate card and an hourly target say, as plain values for calculation."""

from pricing.catalogue.domain.terms import (
    Access,
    Circumstances,
    FactorKind,
    HourlyTargetTerms,
    MaterialTerms,
    MinutesFactor,
    RateTerms,
    Soil,
    SurchargeKind,
    SurchargeTerms,
    SurchargeWhen,
)

__all__ = [
    "Access",
    "Circumstances",
    "FactorKind",
    "HourlyTargetTerms",
    "MaterialTerms",
    "MinutesFactor",
    "RateTerms",
    "Soil",
    "SurchargeKind",
    "SurchargeTerms",
    "SurchargeWhen",
]
