"""The report on the ledger: sums, periods, callbacks, refunds, crews."""

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.catalogue.models import HourlyTarget
from pricing.catalogue.selectors import NoTargetYet
from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.ratio import Moments
from pricing.earnings.models import EarningEntry
from pricing.earnings.selectors import earnings_report
from pricing.earnings.services import entries_record
from shared.errors import NotFound
from tests.factories import make_earning, make_service

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def target():
    """$180 a crew-hour, reserve $110."""
    return HourlyTarget.objects.create(
        effective_from=date(2020, 1, 1), target_cents_per_crew_hour=180_00, reserve_cents_per_crew_hour=110_00
    )


def only_kind(since=None, until=DAY):
    (kind,) = earnings_report(since=since, until=until).groups
    return kind


def test_a_history_worked_by_hand():
    """Two jobs, 180 + 30 and 100 + 10 minutes with driving, $500 and $300: $800 in 320 minutes, $150 an hour.

    Margin: materials $30, wages $200, vehicle $10 off each: $800 - $480 = $320, $60 an hour.
    """
    wash = make_service()
    costs = {"materials_cents": 30_00, "wage_cents": 200_00, "vehicle_cents": 10_00}
    make_earning(service=wash, job_ref=1, price_cents=500_00, on_site_minutes=180, drive_minutes=30, **costs)
    make_earning(
        service=wash,
        job_ref=2,
        price_cents=300_00,
        on_site_minutes=90,
        setup_minutes=10,
        drive_minutes=10,
        **costs,
    )
    kind = only_kind()
    assert (kind.jobs, kind.crew_minutes, kind.drive_crew_minutes) == (2, 320, 40)
    assert (kind.earned_cents, kind.earned.cents) == (800_00, 150_00)
    assert (kind.margin_cents, kind.margin.cents) == (320_00, 60_00)


@pytest.mark.parametrize(("workers", "crew_minutes", "per_hour"), [(1, 60, 300_00), (2, 120, 150_00), (3, 180, 100_00)])
def test_other_crews_are_converted_by_workers(workers, crew_minutes, per_hour):
    """$300 in two hours: one worker is half a crew, three are one and a half."""
    make_earning(price_cents=300_00, on_site_minutes=120, drive_minutes=0, workers=workers)
    kind = only_kind()
    assert (kind.crew_minutes, kind.earned.cents) == (crew_minutes, per_hour)


def test_a_free_return_visit_adds_hours_but_no_job():
    """The return visit of 60 minutes halves what an hour of the first job earned; it stays one job."""
    wash = make_service()
    make_earning(service=wash, job_ref=7, price_cents=180_00, on_site_minutes=60, drive_minutes=0)
    make_earning(service=wash, job_ref=7, kind="callback", price_cents=0, on_site_minutes=45, drive_minutes=15)
    kind = only_kind()
    assert (kind.jobs, kind.sums.callbacks, kind.callback_crew_minutes) == (1, 1, 60)
    assert kind.earned.cents == 90_00


def test_refunds_reduce_what_was_earned():
    """$300 with $60 given back later earned $240."""
    wash = make_service()
    make_earning(service=wash, job_ref=7, price_cents=300_00, on_site_minutes=120, drive_minutes=0)
    make_earning(service=wash, job_ref=7, kind="refund", price_cents=-60_00, on_site_minutes=0, drive_minutes=0)
    kind = only_kind()
    assert (kind.jobs, kind.earned_cents, kind.sums.refunds_cents) == (1, 240_00, 60_00)


def test_a_job_counts_where_it_was_first_worked_with_all_that_followed():
    """A job of May with a return visit in June belongs to May, whole; June holds nothing of it."""
    wash = make_service()
    make_earning(service=wash, job_ref=7, work_date=date(2026, 5, 20), price_cents=200_00, on_site_minutes=60)
    make_earning(
        service=wash,
        job_ref=7,
        work_date=date(2026, 6, 3),
        kind="callback",
        price_cents=0,
        on_site_minutes=30,
    )
    may = only_kind(since=date(2026, 5, 1), until=date(2026, 5, 31))
    assert may.sums.callbacks == 1
    assert earnings_report(since=date(2026, 6, 1), until=date(2026, 6, 30)).groups == ()


def test_both_ends_of_the_period_are_in():
    """Jobs on the first and the last day count, those a day outside do not."""
    wash = make_service()
    for job, day in enumerate((31, 1, 30, 1)):
        month = (5, 6, 6, 7)[job]
        make_earning(service=wash, job_ref=job, work_date=date(2026, month, day))
    assert only_kind(since=date(2026, 6, 1), until=date(2026, 6, 30)).jobs == 2


def test_lines_of_one_job_and_kind_are_one_job():
    """Two lines of one service on a job (two visits, say) are one observation; another service is its own kind."""
    wash, roof = make_service(name="A"), make_service(name="B")
    for line, service in enumerate((wash, wash, roof)):
        make_earning(service=service, job_ref=1, line_ref=line)
    assert {kind.sums.name: kind.jobs for kind in earnings_report(since=None, until=DAY).groups} == {
        "A": 1,
        "B": 1,
    }


def test_the_worst_paid_kind_comes_first():
    """The order of the page answers the question: what earns least?"""
    for name, price in (("good", 900_00), ("bad", 100_00), ("fair", 300_00)):
        make_earning(service=make_service(name=name), price_cents=price)
    assert [k.sums.name for k in earnings_report(since=None, until=DAY).groups] == ["bad", "fair", "good"]


def test_each_report_uses_the_target_of_its_last_day():
    """A target raised in June judges reports that end in June, not those that end in May."""
    HourlyTarget.objects.create(effective_from=date(2026, 6, 1), target_cents_per_crew_hour=200_00)
    targets = [
        earnings_report(since=date(2026, 5, 1), until=day).target_cents_per_crew_hour
        for day in (date(2026, 5, 31), date(2026, 6, 1))
    ]
    assert targets == [180_00, 200_00]


def test_without_a_target_the_report_says_so():
    """Nothing is judged against a number that nobody set."""
    with pytest.raises(NoTargetYet):
        earnings_report(since=None, until=date(2019, 12, 31))


@pytest.mark.parametrize("by", list(Breakdown))
def test_three_queries_make_the_report(django_assert_num_queries, by):
    """The target, the services, the sums, however many groups."""
    for _ in range(5):
        make_earning(service=make_service())
    with django_assert_num_queries(3):
        earnings_report(since=None, until=DAY, by=by)


ROW = st.fixed_dictionaries(
    {
        "job_ref": st.integers(1, 6),
        "price_cents": st.integers(-10_000, 2_000_000),
        "materials_cents": st.integers(0, 50_000),
        "on_site_minutes": st.integers(0, 900),
        "setup_minutes": st.integers(0, 60),
        "drive_minutes": st.integers(0, 120),
        "workers": st.integers(1, 4),
        "wage_cents": st.integers(0, 200_000),
        "vehicle_cents": st.integers(0, 9_000),
    }
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.lists(st.tuples(st.integers(0, 2), ROW), min_size=1, max_size=25))
def test_the_database_sums_what_plain_python_sums(rows):
    """On random ledgers the SQL's sums equal sums made job by job in Python, and money adds up to the cent."""
    EarningEntry.objects.all()._raw_delete("default")
    services = [make_service(name=f"kind {i}") for i in range(3)]
    entries_record(EarningEntry(work_date=DAY, service=services[i], **row) for i, row in rows)
    groups = {group.sums.key: group for group in earnings_report(since=None, until=DAY).groups}
    found = {key: group.sums for key, group in groups.items()}
    for i, service in enumerate(services):
        jobs: dict[int, tuple[float, float, float]] = {}
        for row in (row for j, row in rows if i == j):
            time, money, left = jobs.get(row["job_ref"], (0.0, 0.0, 0.0))
            minutes = row["on_site_minutes"] + row["setup_minutes"] + row["drive_minutes"]
            costs = row["materials_cents"] + row["wage_cents"] + row["vehicle_cents"]
            price = row["price_cents"]
            jobs[row["job_ref"]] = (time + minutes * row["workers"] / 2, money + price, left + price - costs)
        assert (service.code in found) == bool(jobs)
        if jobs:
            assert found[service.code].earned == Moments.of([(time, money) for time, money, _ in jobs.values()])
            assert found[service.code].margin == Moments.of([(time, left) for time, _, left in jobs.values()])
    assert sum(group.earned_cents for group in groups.values()) == sum(row["price_cents"] for _, row in rows)


def test_the_json_for_the_office_holds_no_wages_and_no_margin():
    """What the office may not see is not there at all."""
    make_earning(wage_cents=123_45)
    report = earnings_report(since=None, until=DAY)
    office, owner = report.as_json(with_margin=False)["groups"][0], report.as_json()["groups"][0]
    assert owner["wages_cents"] == 123_45
    assert set(owner) - set(office) == {
        "materials_cents",
        "wages_cents",
        "vehicle_cents",
        "margin_cents",
        "margin_per_crew_hour",
    }


def test_a_kind_below_the_target_says_what_would_cure_it():
    """Ten jobs of two hours at $249.60 on average against $180 an hour.

    $124.80 an hour: 180 / 124.8 is 1.442, so a rise of 45 %, $110.40 a job; 120 - 249.6 / 3 = 36.8 minutes.
    """
    wash = make_service()
    for job in range(10):
        make_earning(service=wash, job_ref=job, price_cents=240_60 + 2_00 * job, on_site_minutes=110, drive_minutes=10)
    kind = only_kind()
    assert kind.verdict == "below"
    assert kind.earned.cents == 124_80
    assert (kind.price_rise_percent.value, kind.price_rise_cents_per_job.value) == (45, 110_40)
    assert (kind.minutes_to_save_per_job.value, kind.crew_minutes_per_job) == (37, 120)


def test_a_kind_above_the_target_needs_no_cure():
    """Nothing to raise, nothing to save."""
    wash = make_service()
    for job in range(10):
        make_earning(service=wash, job_ref=job, price_cents=900_00 + job)
    kind = only_kind()
    assert kind.verdict == "above"
    assert (kind.remedy, kind.price_rise_percent, kind.minutes_to_save_per_job) == (None, None, None)


# --- other breakdowns ---


def names_and_jobs(by, **question):
    report = earnings_report(since=None, until=DAY, by=by, **question)
    return {group.sums.name: group.jobs for group in report.groups}


@pytest.mark.parametrize(
    ("by", "facts", "names"),
    [
        (
            Breakdown.STOREYS,
            [{"storeys": 1}, {"storeys": 3}, {"storeys": 4}, {}],
            {"1 storey": 1, "3 storeys or more": 2, "not known": 1},
        ),
        (
            Breakdown.TOWN_PART,
            [{"city": "Sampleton", "town_part": "north"}, {"city": "Sampleton"}, {}],
            {"Sampleton, north": 1, "Sampleton": 1, "not known": 1},
        ),
        (Breakdown.CREW, [{"crew_code": "heron"}, {"crew_code": "otter"}], {"heron": 1, "otter": 1}),
        (Breakdown.SOURCE, [{"lead_source": "flyer"}, {"lead_source": ""}], {"flyer": 1, "not known": 1}),
        (
            Breakdown.CUSTOMER,
            [{"is_returning": True}, {"is_returning": False}, {}],
            {"returning customers": 1, "new customers": 1, "not known": 1},
        ),
        (
            Breakdown.MONTH,
            [{"work_date": date(2026, 4, 30)}, {}, {"work_date": date(2025, 5, 2)}],
            {"2025-05": 1, "2026-04": 1, "2026-05": 1},
        ),
    ],
)
def test_each_breakdown(by, facts, names):
    """One job for each set of facts; what is not known is a group of its own."""
    for fact in facts:
        make_earning(**fact)
    found = names_and_jobs(by)
    assert found == names
    if by == Breakdown.MONTH:
        assert list(found) == sorted(found)


def test_a_job_is_one_observation_in_every_breakdown_but_that_by_service():
    """Two services on one job: two rows by service, one job of its crew."""
    for service in (make_service(name="A"), make_service(name="B")):
        make_earning(service=service, job_ref=7, crew_code="heron")
    assert names_and_jobs(Breakdown.SERVICE) == {"A": 1, "B": 1}
    assert names_and_jobs(Breakdown.CREW) == {"heron": 1}


def test_what_followed_counts_for_the_crew_that_did_the_work():
    """Another crew's free return visit and the refund are charged to the crew that washed first."""
    wash = make_service()
    make_earning(service=wash, job_ref=7, crew_code="otter", on_site_minutes=100, drive_minutes=0)
    again = {"kind": "callback", "price_cents": 0, "on_site_minutes": 50, "drive_minutes": 0}
    make_earning(service=wash, job_ref=7, crew_code="heron", **again)
    money_back = {"kind": "refund", "price_cents": -50_00, "on_site_minutes": 0, "drive_minutes": 0}
    make_earning(service=wash, job_ref=7, **money_back)
    (group,) = earnings_report(since=None, until=DAY, by=Breakdown.CREW).groups
    assert (group.sums.name, group.crew_minutes, group.earned_cents) == ("otter", 150, 250_00)


def test_work_of_a_crew_that_nobody_wrote_down_is_nobodys():
    """Whoever came back for free is not charged with the whole job."""
    make_earning(job_ref=7, crew_code="")
    make_earning(job_ref=7, kind="callback", price_cents=0, crew_code="heron")
    assert names_and_jobs(Breakdown.CREW) == {"not known": 1}


def test_the_set_up_of_a_line_without_an_estimate_is_not_held_against_it():
    """It counts as estimated rightly, with all of its time at the place."""
    make_earning(on_site_minutes=90, setup_minutes=15, drive_minutes=0)
    parts = dict(only_kind().shortfall.parts)
    assert (parts["card"], parts["minutes"]) == (315_00 - 300_00, 0)


def test_a_return_visit_whose_cause_is_not_in_the_ledger_has_its_own_facts():
    """Better than nothing known."""
    make_earning(kind="callback", price_cents=0, crew_code="heron", storeys=2)
    assert names_and_jobs(Breakdown.CREW) == {"heron": 1}
    assert names_and_jobs(Breakdown.STOREYS) == {"2 storeys": 1}


def test_one_service_alone():
    """House washes by storeys; a service that there is not is refused in words."""
    wash, roof = make_service(code="wash"), make_service(code="roof")
    make_earning(service=wash, job_ref=7, storeys=1)
    make_earning(service=roof, job_ref=7, storeys=1)
    make_earning(service=roof, storeys=2)
    assert names_and_jobs(Breakdown.STOREYS, service_code="wash") == {"1 storey": 1}
    with pytest.raises(NotFound, match="no service nothing"):
        names_and_jobs(Breakdown.STOREYS, service_code="nothing")


@pytest.mark.parametrize("by", list(Breakdown))
def test_the_parts_of_the_ledger_add_up_to_the_cent(by):
    """Money, time and the parts of the shortfall, over a ledger with every kind of entry."""
    wash = make_service()
    for i in range(6):
        job = {"service": wash, "job_ref": i, "crew_code": f"crew{i % 2}", "storeys": i % 4 or None}
        make_earning(
            **job, price_cents=301_01 + i, card_price_cents=333_33 if i % 3 else None, estimated_minutes=80, workers=3
        )
        make_earning(**job, kind="callback", price_cents=0, on_site_minutes=17, workers=1)
        make_earning(service=wash, job_ref=i, kind="refund", price_cents=-7_77, on_site_minutes=0, drive_minutes=0)
        make_earning(service=wash, job_ref=i, kind="correction", price_cents=0, on_site_minutes=-7, drive_minutes=0)
    groups = earnings_report(since=None, until=DAY, by=by).groups
    for group in groups:
        assert group.sums.split.earned_cents == group.earned_cents
        assert group.sums.split.time == 2 * group.sums.earned.sum_x
        assert sum(cents for _, cents in group.shortfall.parts) == group.shortfall.total_cents
    assert sum(group.earned_cents for group in groups) == sum(
        EarningEntry.objects.values_list("price_cents", flat=True)
    )


def test_lines_without_a_card_or_an_estimate_are_counted():
    """They count as priced and estimated rightly, and the report can say how many there were."""
    make_earning(price_cents=300_00, on_site_minutes=90, drive_minutes=0)
    group = only_kind()
    assert (group.sums.lines_without_card, group.sums.lines_without_estimate) == (1, 1)
    parts = dict(group.shortfall.parts)
    assert (parts["card"], parts["price"], parts["minutes"]) == (270_00 - 300_00, 0, 0)


@pytest.mark.parametrize(
    ("by", "price", "decision"),
    [
        (Breakdown.SERVICE, 150_00, "stop"),
        (Breakdown.SERVICE, 260_00, "raise"),
        (Breakdown.CREW, 150_00, "save_time"),
        (Breakdown.MONTH, 150_00, "raise"),
        (Breakdown.SERVICE, 700_00, None),
    ],
)
def test_what_to_do_depends_on_the_reserve_and_on_what_can_be_done(by, price, decision):
    """Two hours at $75 are below the reserve of $110: stop such work; but a crew or a month cannot be stopped."""
    wash = make_service()
    for job in range(12):
        make_earning(service=wash, job_ref=job, price_cents=price + 100 * job, on_site_minutes=110, drive_minutes=10)
    (group,) = earnings_report(since=None, until=DAY, by=by).groups
    assert group.decision == decision
    assert (group.remedy is None) == (decision is None)
