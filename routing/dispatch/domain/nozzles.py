"""Nozzle sizes: a nozzle's number is the flow in US gallons a minute that it lets through at 4,000 psi; flow goes with
the square root of the pressure (nozzle makers' charts; printed charts have misprints, so the formula counts)."""

import math

NOMINAL_PSI = 4_000
STEP = 0.5


def nozzle_number(gallons_per_minute: float, psi: float) -> float:
    """The exact number for a flow at a pressure."""
    return gallons_per_minute * math.sqrt(NOMINAL_PSI / psi)


def nozzle_size(gallons_per_minute: float, psi: float) -> float:
    """The size to buy: the next half up, since a smaller one would raise the pressure."""
    return math.ceil(round(nozzle_number(gallons_per_minute, psi) / STEP, 6)) * STEP


def nozzle_flow(number: float, psi: float) -> float:
    """Gallons a minute through a nozzle at a pressure."""
    return number * math.sqrt(psi / NOMINAL_PSI)
