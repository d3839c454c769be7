"""The report as an aligned table for a terminal."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from pricing.earnings.domain.report import EarningsReport, KindEarnings, PerCrewHour
from pricing.earnings.domain.verdict import MINIMUM_JOBS
from pricing.earnings.wording import interval_words, remedy_sentence, verdict_word
from shared.money import format_cents
from shared.units import minutes_to_hours

GAP = "  "
TEXT_COLUMNS = (0, 8)  # kind and verdict read from the left, numbers line up on the right


def report_text(report: EarningsReport) -> str:
    """Heading, table and what would bring the kinds below the target up to it."""
    parts = [_heading(report), _table(report.kinds) if report.kinds else _("No work is booked in this period.")]
    advice = [remedy_sentence(kind, report.target_cents_per_crew_hour) for kind in report.kinds]
    parts += ["\n".join(sentence for sentence in advice if sentence)]
    return "\n\n".join(part for part in parts if part)


def _heading(report: EarningsReport) -> str:
    period = {"since": report.since or _("the first job"), "until": report.until}
    target = format_cents(report.target_cents_per_crew_hour)
    return "\n".join(
        (
            _("Earned per crew-hour by kind of job, %(since)s to %(until)s") % period,
            _("Target %(target)s. Two-person crew, driving included; intervals 90 %%.") % {"target": target},
        )
    )


def _table(kinds: Sequence[KindEarnings]) -> str:
    head = (
        _("Kind of job"),
        _("Jobs"),
        _("Crew-h"),
        _("Driving"),
        _("Earned/h"),
        _("Interval"),
        _("Margin/h"),
        _("Interval"),
        _("Verdict"),
    )
    rows = [head, *(_cells(kind) for kind in kinds)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [_line(row, widths) for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    cells = (
        cell.ljust(width) if column in TEXT_COLUMNS else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    )
    return GAP.join(cells)


def _cells(kind: KindEarnings) -> tuple[str, ...]:
    return (
        kind.sums.service_name,
        f"{kind.jobs:,}",
        f"{minutes_to_hours(kind.crew_minutes):,.1f}",
        f"{kind.drive_percent} %",
        _hourly(kind.earned),
        interval_words(kind.earned),
        _hourly(kind.margin),
        interval_words(kind.margin),
        _verdict(kind),
    )


def _hourly(per_crew_hour: PerCrewHour | None) -> str:
    return format_cents(per_crew_hour.cents) if per_crew_hour else "–"


def _verdict(kind: KindEarnings) -> str:
    word = verdict_word(kind.verdict)
    few = _("fewer than %(least)s jobs") % {"least": MINIMUM_JOBS}
    return f"{word} ({few})" if kind.jobs < MINIMUM_JOBS else word
