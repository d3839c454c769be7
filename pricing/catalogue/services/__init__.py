"""Changes of the catalogue: starting values, targets and taxes; the next rate card from its draft to its first day, or
withdrawn before it."""

from pricing.catalogue.services.drafts import card_withdraw, draft_begin, draft_drop, draft_put_in_force, draft_set
from pricing.catalogue.services.starting import catalogue_defaults, target_set, tax_set

__all__ = [
    "card_withdraw",
    "catalogue_defaults",
    "draft_begin",
    "draft_drop",
    "draft_put_in_force",
    "draft_set",
    "target_set",
    "tax_set",
]
