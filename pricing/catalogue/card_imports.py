"""A rate card's file read against the draft: what it would change, and every fault by its row. Writes nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pricing.catalogue.domain.card_files import NumberedRows, rows_of_file
from pricing.catalogue.domain.card_rows import CardDifference, CardFault, CardRow, Key, differences, read_rows
from pricing.catalogue.models import RateCard, Service
from pricing.catalogue.selectors import card_content


@dataclass(frozen=True, slots=True)
class CardImport:
    """The content counts only where there is no fault."""

    content: Mapping[Key, CardRow]
    faults: Sequence[CardFault]
    differences: Sequence[CardDifference]


def card_import(*, data: bytes, card: RateCard) -> CardImport:
    """A file read against a card. Raises UnreadableCard."""
    return rows_import(rows=rows_of_file(data), card=card)


def rows_import(*, rows: NumberedRows, card: RateCard) -> CardImport:
    """Numbered rows read against a card."""
    services = set(Service.objects.values_list("code", flat=True))
    content, faults = read_rows(rows, services)
    found = [] if faults else differences(card_content(card=card), content)
    return CardImport(content, faults, found)
