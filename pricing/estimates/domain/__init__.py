"""The arithmetic of prices: of a line by the rate card, of an option by its hours. Pure."""

from pricing.estimates.domain.card import (
    LineEstimate,
    card_cents_per_crew_hour,
    card_price,
    earned_cents_per_crew_hour,
    line_estimate,
    line_materials_cents,
    line_minutes,
    line_price_cents,
    prices_after_discount,
)

__all__ = [
    "LineEstimate",
    "card_cents_per_crew_hour",
    "card_price",
    "earned_cents_per_crew_hour",
    "line_estimate",
    "line_materials_cents",
    "line_minutes",
    "line_price_cents",
    "prices_after_discount",
]
