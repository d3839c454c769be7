"""The forms of rates, targets and taxes, and those of a draft's rows."""

from pricing.catalogue.forms.parts import PARTS, CardPart
from pricing.catalogue.forms.prices import (
    CardFileForm,
    InForceForm,
    TargetForm,
    TaxForm,
    WithdrawForm,
    money_field,
    whole_cents,
)

__all__ = [
    "PARTS",
    "CardFileForm",
    "CardPart",
    "InForceForm",
    "TargetForm",
    "TaxForm",
    "WithdrawForm",
    "money_field",
    "whole_cents",
]
