from datetime import date
from typing import Any

from django.db import connection

from pricing.catalogue.selectors import target_on
from pricing.earnings.domain.ratio import Moments
from pricing.earnings.domain.report import EarningsReport, KindSums, judge_kinds
from shared.units import WORKERS_OF_A_USUAL_CREW

# One query for the whole report. The inner part makes one row per job and kind of work (the unit of the
# statistics), the outer part the sums that the ratio, its interval and its test need. A job counts in the
# period in which it was first worked, with everything that was booked for it since: its refunds and free return
# visits too. Time is worker-minutes here. "1.0 *" keeps squares of cents from overflowing whole numbers.
SUMS = """
WITH per_job AS (
    SELECT service_id,
           SUM((on_site_minutes + setup_minutes + drive_minutes) * workers) AS time,
           SUM(drive_minutes * workers) AS drive,
           SUM(CASE WHEN kind = 'callback' THEN (on_site_minutes + setup_minutes + drive_minutes) * workers
                    ELSE 0 END) AS callback_time,
           SUM(CASE WHEN kind = 'callback' THEN 1 ELSE 0 END) AS callbacks,
           SUM(price_cents) AS earned,
           SUM(price_cents - materials_cents - wage_cents - vehicle_cents) AS margin,
           SUM(CASE WHEN kind = 'refund' THEN -price_cents ELSE 0 END) AS refunds,
           SUM(materials_cents) AS materials,
           SUM(wage_cents) AS wages,
           SUM(vehicle_cents) AS vehicle
    FROM earnings_earningentry
    GROUP BY service_id, job_ref
    HAVING MIN(work_date) >= %s AND MIN(work_date) <= %s
)
SELECT service.code, service.name, COUNT(*),
       SUM(time), SUM(1.0 * time * time),
       SUM(earned), SUM(1.0 * time * earned), SUM(1.0 * earned * earned),
       SUM(margin), SUM(1.0 * time * margin), SUM(1.0 * margin * margin),
       SUM(drive), SUM(callback_time), SUM(callbacks), SUM(refunds), SUM(materials), SUM(wages), SUM(vehicle)
FROM per_job JOIN catalogue_service AS service ON service.id = per_job.service_id
GROUP BY service.id, service.code, service.name
ORDER BY service.name, service.id
"""


def earnings_report(*, since: date | None, until: date) -> EarningsReport:
    """What each kind of job earned per crew-hour, for jobs first worked from ``since`` to ``until``, both in.

    Judged against the target in force at ``until``, since the question is what to do from there on. ``since``
    None takes all jobs. Raises ``NoTargetYet``.
    """
    target = target_on(on=until)
    return EarningsReport(
        since=since,
        until=until,
        target_cents_per_crew_hour=target.target_cents_per_crew_hour,
        reserve_cents_per_crew_hour=target.reserve_cents_per_crew_hour,
        kinds=judge_kinds(_kind_sums(since or date.min, until), target.target_cents_per_crew_hour),
    )


def _kind_sums(since: date, until: date) -> list[KindSums]:
    bounds = [connection.ops.adapt_datefield_value(day) for day in (since, until)]
    with connection.cursor() as cursor:
        cursor.execute(SUMS, bounds)
        return [_sums_of_row(row) for row in cursor.fetchall()]


def _sums_of_row(row: tuple[Any, ...]) -> KindSums:
    code, name, jobs, time, time_2, earned, time_earned, earned_2, margin, time_margin, margin_2, *rest = row
    drive, callback_time, callbacks, refunds, materials, wages, vehicle = rest
    return KindSums(
        service_code=code,
        service_name=name,
        earned=_moments(jobs, time, time_2, earned, time_earned, earned_2),
        margin=_moments(jobs, time, time_2, margin, time_margin, margin_2),
        drive_crew_minutes=_crew(drive),
        callback_crew_minutes=_crew(callback_time),
        callbacks=int(callbacks),
        refunds_cents=int(refunds),
        materials_cents=int(materials),
        wages_cents=int(wages),
        vehicle_cents=int(vehicle),
    )


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
