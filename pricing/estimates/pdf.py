"""The estimate as PDF."""

from pathlib import Path

from pricing.estimates.estimate_words import EstimateWords
from shared.typesetting import pdf_of

TEMPLATE = Path(__file__).parent / "templates" / "estimates" / "estimate.typ"


def estimate_pdf(words: EstimateWords, language: str) -> bytes:
    """Print an estimate."""
    data = {
        "lang": language,
        "title": words.title,
        "place": words.place,
        "facts": words.facts,
        "options_title": words.options_title,
        "options": [{"name": option.name, "lines": option.lines, "sums": option.sums} for option in words.options],
        "sections": words.sections,
        "footer": words.footer,
    }
    return pdf_of(TEMPLATE, data, name="estimate")
