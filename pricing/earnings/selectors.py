from collections.abc import Collection
from datetime import date
from typing import Any

from django.db import connection
from django.db.models import F, Sum
from django.utils.translation import gettext as _

from pricing.catalogue.models import Service
from pricing.catalogue.selectors import target_on
from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.ratio import Moments
from pricing.earnings.domain.report import EarningsReport, GroupSums, judge_groups
from pricing.earnings.domain.split import SplitSums
from pricing.earnings.models import EarningEntry
from shared.errors import NotFound
from shared.units import WORKERS_OF_A_USUAL_CREW

JOBS_AT_ONCE = 1000


def _fact(of_work: str, of_any: str) -> str:
    """A fact of a job: that of the work itself; of a job whose work is not in the ledger, that of any line."""
    return f"COALESCE({_of_work(of_work)}, MIN({of_any}))"


def _of_work(expression: str) -> str:
    return f"MIN(CASE WHEN kind = 'work' THEN {expression} END)"


def _text_fact(expression: str) -> str:
    return _fact(expression, expression)


def _who_did_the_work(crew: str) -> str:
    """As a fact, but never that of a return visit for work in the ledger: where its crew is not known, nobody is."""
    return f"CASE WHEN MIN(CASE WHEN kind = 'work' THEN 0 ELSE 1 END) = 0 THEN {_of_work(crew)} ELSE MIN({crew}) END"


# What the jobs of a row have in common, as SQL over the lines of one job.
KEYS = {
    Breakdown.SERVICE: "service_id",
    Breakdown.STOREYS: _text_fact("CASE WHEN storeys >= 3 THEN 3 ELSE storeys END"),
    Breakdown.TOWN_PART: _text_fact("NULLIF(city || '|' || town_part, '|')"),
    Breakdown.CREW: _who_did_the_work("NULLIF(crew_code, '')"),
    Breakdown.SOURCE: _text_fact("NULLIF(lead_source, '')"),
    Breakdown.CUSTOMER: _text_fact("CASE WHEN is_returning THEN 1 WHEN NOT is_returning THEN 0 END"),
    Breakdown.MONTH: "SUBSTR(CAST(MIN(work_date) AS CHAR(10)), 1, 7)",
}

# One query for the whole report. The inner part makes one row per job (by kind of work: per job and kind), the unit
# of the statistics; the outer part the sums that the ratio, its interval, its test and the split need. A job counts
# in the period in which it was first worked, with everything that was booked for it since: its refunds and free
# return visits too. Time is worker-minutes here. "1.0 *" keeps squares of cents from overflowing whole numbers.
SUMS = """
WITH per_job AS (
    SELECT {key} AS part,
           SUM((on_site_minutes + setup_minutes + drive_minutes) * workers) AS time,
           SUM(drive_minutes * workers) AS drive,
           SUM(CASE WHEN kind = 'callback' THEN 0 ELSE drive_minutes * workers END) AS own_drive,
           SUM(CASE WHEN kind = 'callback' THEN (on_site_minutes + setup_minutes + drive_minutes) * workers
                    ELSE 0 END) AS callback_time,
           SUM(CASE WHEN kind = 'work'
                    THEN COALESCE(estimated_minutes * {usual_crew}, (on_site_minutes + setup_minutes) * workers)
                    ELSE 0 END) AS estimated,
           SUM(CASE WHEN kind = 'callback' THEN 1 ELSE 0 END) AS callbacks,
           SUM(price_cents) AS earned,
           SUM(CASE WHEN kind = 'work' THEN COALESCE(card_price_cents, price_cents) ELSE 0 END) AS card,
           SUM(CASE WHEN kind = 'callback' THEN price_cents ELSE 0 END) AS callback_price,
           SUM(CASE WHEN kind = 'refund' THEN -price_cents ELSE 0 END) AS refunds,
           SUM(price_cents - materials_cents - wage_cents - vehicle_cents) AS margin,
           SUM(materials_cents) AS materials,
           SUM(wage_cents) AS wages,
           SUM(vehicle_cents) AS vehicle,
           MAX(CASE WHEN hours_shared = 'estimated' THEN 1 ELSE 0 END) AS shared_by_estimate,
           MAX(CASE WHEN facts_added_later THEN 1 ELSE 0 END) AS late_facts,
           SUM(CASE WHEN kind = 'work' AND card_price_cents IS NULL THEN 1 ELSE 0 END) AS no_card,
           SUM(CASE WHEN kind = 'work' AND estimated_minutes IS NULL THEN 1 ELSE 0 END) AS no_estimate,
           MIN(work_date) AS first_worked
    FROM earnings_earningentry
    {only}
    GROUP BY {group}
    HAVING MIN(work_date) >= %s AND MIN(work_date) <= %s
)
SELECT part, COUNT(*),
       SUM(time), SUM(1.0 * time * time),
       SUM(earned), SUM(1.0 * time * earned), SUM(1.0 * earned * earned),
       SUM(margin), SUM(1.0 * time * margin), SUM(1.0 * margin * margin),
       SUM(drive), SUM(own_drive), SUM(callback_time), SUM(estimated), SUM(callbacks),
       SUM(card), SUM(callback_price), SUM(refunds), SUM(materials), SUM(wages), SUM(vehicle),
       SUM(shared_by_estimate), SUM(late_facts), SUM(no_card), SUM(no_estimate), MIN(first_worked)
FROM per_job
GROUP BY part
"""


def earnings_report(
    *, since: date | None, until: date, by: Breakdown = Breakdown.SERVICE, service_code: str = ""
) -> EarningsReport:
    """What each group of jobs earned per crew-hour, for jobs first worked from ``since`` to ``until``, both in.

    ``by`` says what the jobs of a group have in common; ``service_code`` looks at the lines of one service only.
    Judged against the target in force at ``until``, since the question is what to do from there on. ``since``
    None takes all jobs. Raises ``NoTargetYet``, and ``NotFound`` for a service that there is not.
    """
    target = target_on(on=until)
    services = {service.pk: service for service in Service.objects.all()}
    only = _service_of(services, service_code)
    groups = _group_sums(since or date.min, until, by, services, only)
    return EarningsReport(
        by=by,
        since=since,
        until=until,
        target_cents_per_crew_hour=target.target_cents_per_crew_hour,
        reserve_cents_per_crew_hour=target.reserve_cents_per_crew_hour,
        groups=judge_groups(groups, target.target_cents_per_crew_hour, target.reserve_cents_per_crew_hour, by),
        service_name=only.name if only else "",
    )


def earned_by_job(job_refs: Collection[int]) -> dict[int, tuple[float, int]]:
    """By job: the crew-minutes and the cents of all that the ledger holds of it, free return visits included.

    Jobs that are not in the ledger are not in the answer.
    """
    found: dict[int, tuple[float, int]] = {}
    wanted = sorted(job_refs)
    minutes = F("on_site_minutes") + F("setup_minutes") + F("drive_minutes")
    for start in range(0, len(wanted), JOBS_AT_ONCE):
        entries = EarningEntry.objects.filter(job_ref__in=wanted[start : start + JOBS_AT_ONCE]).order_by()
        sums = entries.values_list("job_ref").annotate(time=Sum(minutes * F("workers")), earned=Sum("price_cents"))
        found |= {job: (_crew(time), earned) for job, time, earned in sums}
    return found


def _service_of(services: dict[int, Service], code: str) -> Service | None:
    if not code:
        return None
    found = next((service for service in services.values() if service.code == code), None)
    if found is None:
        raise NotFound(_("There is no service %(code)s.") % {"code": code})
    return found


def sums_statement(by: Breakdown, *, one_service: bool = False) -> str:
    """The SQL of the report: its parameters are the service's id, if for one only, and the first and last day."""
    return SUMS.format(
        key=KEYS[by],
        group="service_id, job_ref" if by == Breakdown.SERVICE else "job_ref",
        only="WHERE service_id = %s" if one_service else "",
        usual_crew=WORKERS_OF_A_USUAL_CREW,
    )


def _group_sums(
    since: date, until: date, by: Breakdown, services: dict[int, Service], only: Service | None
) -> list[GroupSums]:
    bounds = [connection.ops.adapt_datefield_value(day) for day in (since, until)]
    with connection.cursor() as cursor:
        cursor.execute(sums_statement(by, one_service=only is not None), [*([only.pk] if only else []), *bounds])
        return [_sums_of_row(by, services, row) for row in cursor.fetchall()]


def _sums_of_row(by: Breakdown, services: dict[int, Service], row: tuple[Any, ...]) -> GroupSums:
    part, jobs, time, time_2, earned, time_earned, earned_2, margin, time_margin, margin_2, *rest = row
    drive, own_drive, callback_time, estimated, callbacks, *rest = rest
    card, callback_price, refunds, materials, wages, vehicle, *notes, first_worked = rest
    key = services[part].code if by == Breakdown.SERVICE else "" if part is None else str(part)
    return GroupSums(
        key=key,
        name=services[part].name if by == Breakdown.SERVICE else group_name(by, key),
        earned=_moments(jobs, time, time_2, earned, time_earned, earned_2),
        margin=_moments(jobs, time, time_2, margin, time_margin, margin_2),
        split=SplitSums(
            estimated_time=int(estimated),
            on_site_time=int(time - own_drive - callback_time),
            drive_time=int(own_drive),
            callback_time=int(callback_time),
            card_cents=int(card),
            agreed_cents=int(earned + refunds - callback_price),
            callback_cents=int(callback_price),
            refund_cents=int(refunds),
        ),
        drive_crew_minutes=_crew(drive),
        callback_crew_minutes=_crew(callback_time),
        callbacks=int(callbacks),
        materials_cents=int(materials),
        wages_cents=int(wages),
        vehicle_cents=int(vehicle),
        **dict(zip(NOTES, map(int, notes), strict=True)),
        first_worked_on=first_worked if isinstance(first_worked, date) else date.fromisoformat(first_worked),
    )


NOTES = ("jobs_shared_by_estimate", "jobs_with_late_facts", "lines_without_card", "lines_without_estimate")


def group_name(by: Breakdown, key: str) -> str:
    """What a group is called, from its key in the ledger."""
    if not key:
        return _("not known")
    if by == Breakdown.STOREYS:
        return {"1": _("1 storey"), "2": _("2 storeys"), "3": _("3 storeys or more")}[key]
    if by == Breakdown.CUSTOMER:
        return _("returning customers") if key == "1" else _("new customers")
    if by == Breakdown.TOWN_PART:
        return _town_part_name(*key.split("|"))
    return key


def _town_part_name(city: str, part: str) -> str:
    sides = {"centre": _("centre"), "north": _("north"), "east": _("east"), "south": _("south"), "west": _("west")}
    return ", ".join(filter(None, (city, sides.get(part, part))))


def _moments(n: int, time: Any, time_2: Any, money: Any, time_money: Any, money_2: Any) -> Moments:
    """From worker-minutes to crew-minutes on the way."""
    return Moments(
        n=n,
        sum_x=_crew(time),
        sum_y=float(money),
        sum_xx=_crew(_crew(time_2)),
        sum_xy=_crew(time_money),
        sum_yy=float(money_2),
    )


def _crew(worker_minutes: Any) -> float:
    return float(worker_minutes) / WORKERS_OF_A_USUAL_CREW
