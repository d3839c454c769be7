"""Makes the demo company once; a second call finds it and counts it."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.chalking.services import forecasts_update
from jobs.customers.models import Consent, Customer, Property, Wall
from jobs.walkthroughs.models import ChalkReading
from jobs.work.choices import JobState
from jobs.work.models import Job, ServiceInterval, Visit
from pricing.earnings.domain.driving import driving_shares
from pricing.earnings.models import EarningEntry
from pricing.minutes.services import history_replay, model_fit
from routing.demo.domain.company import next_working_day
from routing.demo.domain.history import TrueRate, planted_truth
from routing.demo.domain.offer import Offers
from routing.demo.domain.past_days import Roads
from routing.demo.domain.world import Base, Story, base_make, story_make
from routing.demo.services.campaign_rows import campaigns_store
from routing.demo.services.company_rows import company_store, crews_store, offers_store, people_store
from routing.demo.services.estimate_rows import estimates_store
from routing.demo.services.extract import EXTRACT_NAME, extract_write
from routing.demo.services.house_rows import OFFICE_OPENS, at, houses_store
from routing.demo.services.lead_rows import decisions_store
from routing.demo.services.message_rows import messages_store
from routing.demo.services.mixing_rows import mixing_store
from routing.demo.services.open_rows import open_jobs_store
from routing.demo.services.past_rows import Rows, past_store
from routing.demo.services.pour_rows import pours_store
from routing.demo.services.reminder_rows import reminders_store
from routing.demo.services.twice_rows import doubles_store
from routing.demo.services.walkthrough_rows import walkthroughs_store
from routing.demo.services.weather_rows import weather_store
from routing.plans.models import Crew
from routing.plans.services.learning import drives_learn
from routing.roads.services import drive_table
from routing.roads.services.build import roads_build
from shared.errors import Refused
from shared.events.models import Event
from shared.events.services import event_record

MADE = "demo.made"
SEED = 1
REPLAYED_DAYS = 150  # for these the minutes page shows what was expected before the work
MAY_MAKE_DEMO = ("config.settings.embedded", "config.settings.test")


@dataclass(frozen=True, slots=True)
class DemoCounts:
    """How much of everything the database holds."""

    customers: int
    properties: int
    walls: int
    consents: int
    chalk_readings: int
    crews: int
    jobs_done: int
    jobs_open: int
    visits: int
    earning_entries: int
    intervals: int

    def as_json(self) -> dict[str, int]:
        return asdict(self)


def demo_company_make(*, today: date, seed: int = SEED) -> DemoCounts:
    """Make the demo company as it stands on `today`, unless it is there already; then nothing changes.

    All rows or none are written. The same seed and day give the same company. Raises Refused outside the embedded
    set-up (the sign-ins are printed for all to see) and where the database holds another company's customers.
    """
    if not Event.objects.filter(kind=MADE).exists():
        _refuse_elsewhere()
        _make(today=today, seed=seed)
    return demo_counts()


def demo_counts() -> DemoCounts:
    """What the database holds now."""
    done = Job.objects.filter(state=JobState.DONE).count()
    closed = Job.objects.filter(state__in=(JobState.DECLINED, JobState.CALLED_OFF)).count()
    return DemoCounts(
        customers=Customer.objects.count(),
        properties=Property.objects.count(),
        walls=Wall.objects.count(),
        consents=Consent.objects.count(),
        chalk_readings=ChalkReading.objects.count(),
        crews=Crew.objects.count(),
        jobs_done=done,
        jobs_open=Job.objects.count() - done - closed,
        visits=Visit.objects.count(),
        earning_entries=EarningEntry.objects.count(),
        intervals=ServiceInterval.objects.count(),
    )


def demo_truth(*, today: date, seed: int, offers: Offers) -> dict[str, TrueRate]:
    """What each service truly earns in the demo of a seed and day: the yardstick for the earnings report."""
    base = base_make(seed=seed, today=today)
    return planted_truth(_story(base, offers, seed=seed, today=today).jobs)


def _refuse_elsewhere() -> None:
    if settings.SETTINGS_MODULE not in MAY_MAKE_DEMO:
        raise Refused(_("The demo is made with the embedded settings only: everybody may read its passwords."))
    if Customer.objects.exists() or Crew.objects.exists():
        raise Refused(_("This database holds a company already. Name another folder with WALLDAY_DATA for the demo."))


@transaction.atomic
def _make(*, today: date, seed: int) -> None:
    base = base_make(seed=seed, today=today)
    company = company_store(base.town)
    offers = offers_store(today=today)
    yard = crews_store(base.town, people_store(), today=today)
    _roads_build(base)
    story = _story(base, offers, seed=seed, today=today)
    unplaced = frozenset(job.house for job in story.open_jobs if not job.has_place)
    rows = Rows.of(houses_store(base, unplaced), offers)
    past_store(rows, story)
    history_replay(since=today - timedelta(days=REPLAYED_DAYS), until=today)
    model_fit(today=today)
    open_jobs_store(rows, story.open_jobs)
    reminders_store(company, today=today)
    campaigns_store(company, today=today, seed=seed)
    walkthroughs_store(today=today, seed=seed)
    mixing_store(today=today)
    pours_store(today=today, seed=seed)
    weather_store(yard=yard, first=next_working_day(today))
    decisions_store(today=today, seed=seed)
    estimates_store(today=today)
    messages_store(today=today)
    doubles_store(today=today)
    forecasts_update(now=at(today, OFFICE_OPENS))
    drives_learn(yard=yard, until=today)
    day = next_working_day(today)
    event_record(kind=MADE, subject=company, data={"seed": seed, "today": today.isoformat(), "day": day.isoformat()})


def _story(base: Base, offers: Offers, *, seed: int, today: date) -> Story:
    return story_make(base, offers, _roads(base), seed=seed, today=today)


def _roads_build(base: Base) -> None:
    """Write the town's map and plan over it, as with the map of any other town."""
    path = Path(settings.DATA_DIR) / "demo" / EXTRACT_NAME
    extract_write(base, path)
    roads_build(path=path)


def _roads(base: Base) -> Roads:
    """Driving between the yard and all houses, from the product's own source and by its own definition of shares."""
    points = [base.town.yard, *((house.plot.lat, house.plot.lon) for house in base.houses)]
    table = drive_table(points, remember=False)
    return Roads(_known(table.minutes), _known(table.metres), driving_shares)


def _known(cells: tuple[tuple[int | None, ...], ...]) -> Callable[[int, int], int]:
    def leg(start: int, end: int) -> int:
        cell = cells[start][end]
        if cell is None:
            raise ValueError(f"No road from place {start} to place {end} of the demo.")
        return cell

    return leg
