"""Making and changing estimates, giving them out, and the answers to them."""

from pricing.estimates.services.answering import estimate_accept, estimate_decline, estimate_take_back
from pricing.estimates.services.making import estimate_change, estimate_create
from pricing.estimates.services.reminding import estimates_nudge
from pricing.estimates.services.sending import estimate_send, print_pdf

__all__ = [
    "estimate_accept",
    "estimate_change",
    "estimate_create",
    "estimate_decline",
    "estimate_send",
    "estimate_take_back",
    "estimates_nudge",
    "print_pdf",
]
