"""The report as an aligned table for a terminal."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from pricing.earnings.domain.report import EarningsReport, KindEarnings
from pricing.earnings.domain.verdict import MINIMUM_JOBS
from pricing.earnings.wording import (
    crew_hours_words,
    hourly_words,
    interval_words,
    remedy_sentence,
    verdict_word,
)
from shared.money import format_cents

GAP = "  "
TEXT_COLUMNS = (0, 1)  # kind and verdict read from the left, numbers line up on the right


def report_text(report: EarningsReport, currency: str) -> str:
    """Heading, table and what would bring the kinds below the target up to it."""
    if not report.kinds:
        return "\n\n".join((_heading(report, currency), _("No work is booked in this period.")))
    advice = (remedy_sentence(kind, report.target_cents_per_crew_hour, currency) for kind in report.kinds)
    parts = (_heading(report, currency), _table(report.kinds, currency), *advice)
    return "\n\n".join(part for part in parts if part)


def _heading(report: EarningsReport, currency: str) -> str:
    period = {"since": report.since or _("the first job"), "until": report.until}
    rules = {
        "target": format_cents(report.target_cents_per_crew_hour, currency),
        "least": MINIMUM_JOBS,
    }
    return "\n".join(
        (
            _("Earned per crew-hour by kind of job, %(since)s to %(until)s") % period,
            _("Target %(target)s. Two-person crew, driving included. Intervals 90%%; no verdict under %(least)s jobs.")
            % rules,
        )
    )


def _table(kinds: Sequence[KindEarnings], currency: str) -> str:
    head = (
        _("Kind of job"),
        _("Verdict"),
        _("Earned/h"),
        _("Interval"),
        _("Margin/h"),
        _("Interval"),
        _("Jobs"),
        _("Crew-h"),
        _("Driving"),
    )
    rows = [head, *(_cells(kind, currency) for kind in kinds)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [_line(row, widths) for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    cells = (
        cell.ljust(width) if column in TEXT_COLUMNS else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    )
    return GAP.join(cells)


def _cells(kind: KindEarnings, currency: str) -> tuple[str, ...]:
    return (
        kind.sums.service_name,
        verdict_word(kind.verdict),
        hourly_words(kind.earned, currency),
        interval_words(kind.earned, currency),
        hourly_words(kind.margin, currency),
        interval_words(kind.margin, currency),
        f"{kind.jobs:,}",
        crew_hours_words(kind.crew_minutes),
        f"{kind.drive_percent}%",
    )
