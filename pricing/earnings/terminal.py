"""The report as an aligned table for a terminal."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from pricing.earnings.domain.report import EarningsReport, GroupEarnings
from pricing.earnings.domain.verdict import MINIMUM_JOBS
from pricing.earnings.wording import (
    breakdown_word,
    choices_of,
    crew_hours_words,
    decision_words,
    hourly_words,
    interval_words,
    short_sentence,
    verdict_word,
    why_sentence,
)
from shared.money import format_cents

GAP = "  "
TEXT_COLUMNS = (0, 1)  # group and verdict read from the left, numbers line up on the right


def report_text(report: EarningsReport, currency: str) -> str:
    """Heading, table, and for each group below the target why it is and what to do."""
    if not report.groups:
        return "\n\n".join((_heading(report, currency), _("No work is booked in this period.")))
    advice = (_advice(group, report.target_cents_per_crew_hour, currency) for group in report.groups)
    parts = (_heading(report, currency), _table(report, currency), *advice)
    return "\n\n".join(part for part in parts if part)


def _heading(report: EarningsReport, currency: str) -> str:
    period = {
        "by": breakdown_word(report.by).lower(),
        "since": report.since or _("the first job"),
        "until": report.until,
    }
    rules = {
        "target": format_cents(report.target_cents_per_crew_hour, currency),
        "least": MINIMUM_JOBS,
    }
    only = [_("Only %(service)s.") % {"service": report.service_name}] if report.service_name else []
    return "\n".join(
        (
            _("Earned per crew-hour by %(by)s, %(since)s to %(until)s") % period,
            *only,
            _("Target %(target)s. Two-person crew, driving included. Intervals 90%%; no verdict under %(least)s jobs.")
            % rules,
        )
    )


def _advice(group: GroupEarnings, target_cents: int, currency: str) -> str:
    if group.decision is None:
        return ""
    lines = (
        short_sentence(group, target_cents, currency),
        why_sentence(group, currency),
        *choices_of(group, currency),
    )
    return "\n".join((f"{decision_words(group)}.", *(f"  {line}" for line in lines)))


def _table(report: EarningsReport, currency: str) -> str:
    head = (
        breakdown_word(report.by),
        _("Verdict"),
        _("Earned/h"),
        _("Interval"),
        _("Margin/h"),
        _("Interval"),
        _("Jobs"),
        _("Crew-h"),
        _("Driving"),
    )
    rows = [head, *(_cells(group, currency) for group in report.groups)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [_line(row, widths) for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    cells = (
        cell.ljust(width) if column in TEXT_COLUMNS else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    )
    return GAP.join(cells)


def _cells(group: GroupEarnings, currency: str) -> tuple[str, ...]:
    return (
        group.sums.name,
        verdict_word(group.verdict),
        hourly_words(group.earned, currency),
        interval_words(group.earned, currency),
        hourly_words(group.margin, currency),
        interval_words(group.margin, currency),
        f"{group.jobs:,}",
        crew_hours_words(group.crew_minutes),
        f"{group.drive_percent}%",
    )
