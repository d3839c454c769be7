"""The report as a table for a spreadsheet: one row a group, amounts with a point, plain numbers."""

import csv
import io

from pricing.earnings.domain.remedy import Range
from pricing.earnings.domain.report import EarningsReport, GroupEarnings, PerCrewHour
from shared.units import minutes_to_hours

OPENS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def report_csv(report: EarningsReport, *, with_margin: bool) -> str:
    """Comma-separated with a head, lines ended as RFC 4180 has it. Without margins for who may not see them."""
    rows = [_cells(group, with_margin) | {"until": report.until.isoformat()} for group in report.groups]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([str(report.by), *(list(rows[0]) if rows else [])])
    writer.writerows([_text(group.sums.name), *row.values()] for group, row in zip(report.groups, rows, strict=True))
    return out.getvalue()


def _cells(group: GroupEarnings, with_margin: bool) -> dict[str, str | int]:
    return {
        "verdict": str(group.verdict),
        "decision": str(group.decision or ""),
        "jobs": group.jobs,
        "crew_hours": f"{minutes_to_hours(group.crew_minutes):.2f}",
        "drive_crew_hours": f"{minutes_to_hours(group.drive_crew_minutes):.2f}",
        "earned": _amount(group.earned_cents),
        **_hourly("earned_per_crew_hour", group.earned),
        "shortfall": _amount(group.shortfall.total_cents),
        **{f"shortfall_{cause}": _amount(cents) for cause, cents in group.shortfall.parts},
        **_range("price_rise_percent", group.price_rise_percent),
        **_range("minutes_to_save_per_job", group.minutes_to_save_per_job),
        **(_money_side(group) if with_margin else {}),
    }


def _money_side(group: GroupEarnings) -> dict[str, str | int]:
    return {
        "materials": _amount(group.sums.materials_cents),
        "wages": _amount(group.sums.wages_cents),
        "vehicle": _amount(group.sums.vehicle_cents),
        "margin": _amount(group.margin_cents),
        **_hourly("margin_per_crew_hour", group.margin),
    }


def _hourly(name: str, found: PerCrewHour | None) -> dict[str, str | int]:
    ends = (found.cents, found.low_cents, found.high_cents) if found else (None, None, None)
    return dict(zip((name, f"{name}_low", f"{name}_high"), map(_amount, ends), strict=True))


def _range(name: str, found: Range | None) -> dict[str, str | int]:
    ends = (found.value, found.low, found.high) if found else (None, None, None)
    written = ["" if end is None else int(end) for end in ends]
    return dict(zip((name, f"{name}_low", f"{name}_high"), written, strict=True))


def _amount(cents: int | None) -> str:
    if cents is None:
        return ""
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100}.{abs(cents) % 100:02d}"


def _text(words: str) -> str:
    """A name that a spreadsheet would take for a formula gets an apostrophe in front."""
    return f"'{words}" if words.startswith(OPENS_A_FORMULA) else words
