"""People, houses, three years of work and the book: drawn from a seed and a day, without a database."""

import math
import random
import re
from collections import Counter
from datetime import date, timedelta

import phonenumbers
import pytest

from pricing.earnings.domain.driving import driving_shares
from routing.demo.domain.company import CREWS, next_working_day
from routing.demo.domain.history import PastJob, PastLine, planted_truth
from routing.demo.domain.houses import quarter_of
from routing.demo.domain.names import REAL_WORDS, person_names, street_names
from routing.demo.domain.offer import TRUTHS, LineSpec, Offer
from routing.demo.domain.past_days import Roads
from routing.demo.domain.world import Base, Story, base_make, story_make
from shared.geo import great_circle_metres

TODAY = date(2026, 11, 25)
OFFERS = {
    "house_wash": Offer("house_wash", frozenset(), 26_00, 250_00, 1_20, 20, 1600, 1200),
    "chalk_removal": Offer("chalk_removal", frozenset(), 125_00, 250_00, 6_00, 20, 200, 120),
    "roof_wash": Offer("roof_wash", frozenset({"roof", "ladder"}), 38_00, 350_00, 4_00, 25, 2000, 1600),
    "concrete": Offer("concrete", frozenset({"surface_cleaner"}), 18_00, 175_00, 80, 15, 1600, 1600),
    "gutter_clearing": Offer("gutter_clearing", frozenset({"ladder"}), 140_00, 150_00, 0, 10, 220, 160),
    "gutter_brightening": Offer("gutter_brightening", frozenset({"ladder"}), 170_00, 200_00, 12_00, 15, 90, 65),
    "deck_wash": Offer("deck_wash", frozenset(), 85_00, 200_00, 5_00, 15, 375, 300),
}
TARGET_CENTS, RESERVE_CENTS = 175_00, 110_00


@pytest.fixture(scope="module")
def base() -> Base:
    return base_make(seed=3, today=TODAY)


@pytest.fixture(scope="module")
def roads(base: Base) -> Roads:
    places = [base.town.yard, *((house.plot.lat, house.plot.lon) for house in base.houses)]

    def metres(start: int, end: int) -> int:
        return round(1.3 * great_circle_metres(*places[start], *places[end]))

    def minutes(start: int, end: int) -> int:
        return math.ceil(metres(start, end) / 600)

    return Roads(minutes, metres, driving_shares)


@pytest.fixture(scope="module")
def story(base: Base, roads: Roads) -> Story:
    return story_make(base, OFFERS, roads, seed=3, today=TODAY)


def test_same_seed_same_story(base: Base, roads: Roads, story: Story) -> None:
    """The same seed and day give the same people, houses, jobs and book."""
    again = base_make(seed=3, today=TODAY)
    assert again == base
    assert story_make(again, OFFERS, roads, seed=3, today=TODAY) == story


def test_people_are_invented(base: Base) -> None:
    """Telephone numbers are of the range kept for fiction, mail goes to example.com, nobody shares either."""
    phones = [customer.phone_e164 for customer in base.customers if customer.phone_e164]
    mails = [customer.email for customer in base.customers if customer.email]
    assert all(re.fullmatch(r"\+15(00|21|22|33|44)55501\d\d", phone) for phone in phones)
    assert all(phonenumbers.is_valid_number(phonenumbers.parse(phone)) for phone in phones)
    assert all(mail.isascii() and mail.endswith("@example.com") for mail in mails)
    assert len(set(phones)) == len(phones)
    assert len(set(mails)) == len(mails)


def test_customers_differ(base: Base) -> None:
    """420 customers own 480 houses; some have no mail, some no telephone, some speak Spanish, some said stop."""
    assert len(base.customers) == 420
    assert len(base.houses) == 480 == sum(customer.houses for customer in base.customers)
    assert 5 < sum(not customer.email for customer in base.customers) < 60
    assert 5 < sum(not customer.phone_e164 for customer in base.customers) < 60
    assert 40 < sum(customer.language == "es" for customer in base.customers) < 90
    said_stop = [c for c in base.customers if any(not said.given for said in c.consents)]
    assert len(said_stop) == 14
    assert all(said.wording for c in base.customers for said in c.consents if said.given)


def test_four_walls_look_four_ways(base: Base) -> None:
    """Each house has a north, east, south and west wall, each named by where it looks; extras look to the front."""
    for house in base.houses:
        faces = [wall for wall in house.walls if wall.kind == "face"]
        assert {quarter_of(wall.facing_degrees) for wall in faces} == {0, 1, 2, 3}
        assert len({wall.name for wall in house.walls}) == len(house.walls)
        assert {wall.facing_degrees for wall in house.walls if wall.kind != "face"} <= {house.plot.front_degrees}


def test_quarters_turn_with_the_bearing() -> None:
    """Bearings belong to the nearest quarter; half way belongs to the next one."""
    assert [quarter_of(degrees) for degrees in (0, 44, 45, 90, 135, 225, 314, 315, 359)] == [0, 0, 1, 1, 2, 3, 3, 0, 0]


def test_history_size_and_season(story: Story) -> None:
    """About 1,600 jobs in three years, all before today, more each year, the winter thin, 1-3 % return visits."""
    years = Counter((TODAY - job.day).days // 365 for job in story.jobs)
    months = Counter(job.day.month for job in story.jobs)
    callbacks = sum(job.is_callback for job in story.jobs)
    assert 1_400 <= len(story.jobs) <= 1_800
    assert all(TODAY - timedelta(days=1_100) < job.day < TODAY for job in story.jobs)
    assert years[0] > years[1] > years[2] > 0
    assert months[5] > 2 * months[1]
    assert 0.01 <= callbacks / len(story.jobs) <= 0.03
    assert sum(job.refund_cents > 0 for job in story.jobs) == 9


def test_every_route_is_whole(story: Story, roads: Roads) -> None:
    """The shares of each driven day add up to its driving, and no crew is at two houses at once."""
    for day in _days(story.jobs):
        order = [job.house + 1 for job in day]
        for leg, shares in (
            (roads.minutes, [job.drive_minutes for job in day]),
            (roads.metres, [job.drive_metres for job in day]),
        ):
            route = [0, *order, 0]
            assert sum(shares) == sum(leg(a, b) for a, b in zip(route, route[1:], strict=False))
        for before, after in zip(day, day[1:], strict=False):
            on_road = roads.minutes(before.house + 1, after.house + 1)
            assert after.arrive_minute >= before.arrive_minute + before.on_site_minutes + on_road


def test_crews_do_what_they_can(story: Story) -> None:
    """Nobody was on a roof or a ladder without the skill; return visits are short and may be anybody's."""
    skills = {crew.code: crew.skills for crew in CREWS}
    for job in story.jobs:
        if not job.is_callback:
            assert all(OFFERS[line.spec.service].skills <= skills[job.crew] for line in job.lines)


def test_planted_truth(story: Story) -> None:
    """One service truly earns below the reserve, one below the target, one above it by little, one has too few jobs,
    the rest well above."""
    truth = planted_truth(story.jobs)
    assert set(truth) == set(TRUTHS)
    assert {name for name, rate in truth.items() if rate.cents_per_crew_hour < 0.9 * TARGET_CENTS} == {
        "chalk_removal",
        "gutter_brightening",
    }
    assert truth["gutter_brightening"].cents_per_crew_hour < 0.9 * RESERVE_CENTS
    assert truth["chalk_removal"].cents_per_crew_hour > RESERVE_CENTS
    assert 1.02 < truth["deck_wash"].cents_per_crew_hour / TARGET_CENTS < 1.09
    assert truth["roof_wash"].jobs < 8
    for name in ("house_wash", "concrete", "gutter_clearing"):
        assert truth[name].cents_per_crew_hour > 1.15 * TARGET_CENTS


def test_planted_truth_by_hand() -> None:
    """One job of 60 expected minutes with 12 of driving for $240, half given back: $100 a crew-hour."""
    line = PastLine(LineSpec("house_wash", 1000, 240_00, 0, 60), expected_minutes=60.0, minutes=75)
    job = PastJob("j", 0, TODAY, "heron", 480, 12, 9_000, (line,), refund_cents=120_00)
    assert planted_truth([job])["house_wash"].cents_per_crew_hour == pytest.approx(100_00)


def test_chalk_grows_and_goes(story: Story, base: Base) -> None:
    """South walls read worse than north walls; a removal brings the readings of its own walls down, and of no other."""
    sums: dict[int, list[int]] = {0: [], 2: []}
    for house, readings in story.readings.items():
        facing = {
            wall.name: quarter_of(wall.facing_degrees) for wall in base.houses[house].walls if wall.kind == "face"
        }
        for reading in readings:
            if facing.get(reading.wall) in sums:
                sums[facing[reading.wall]].append(reading.half_steps)
    removals = {
        j.house: (j.day, x.spec.walls) for j in story.jobs for x in j.lines if x.spec.service == "chalk_removal"
    }
    sides: dict[tuple[bool, bool], list[int]] = {}
    for house, (day, walls) in removals.items():
        for reading in story.readings.get(house, ()):
            sides.setdefault((reading.wall in walls, reading.on > day), []).append(reading.half_steps)
    mean = {side: sum(steps) / len(steps) for side, steps in sides.items()}
    assert sum(sums[2]) / len(sums[2]) > 1.5 * sum(sums[0]) / len(sums[0])
    assert mean[True, True] < 0.5 * mean[True, False]
    assert mean[False, True] > 0.9 * mean[False, False]
    assert all(0 <= reading.half_steps <= 10 for readings in story.readings.values() for reading in readings)


def test_the_book(story: Story) -> None:
    """70 open jobs of 7 services; around the day more agreed hours than four crews have, eight promises among them."""
    day = next_working_day(TODAY)
    agreed = [job for job in story.open_jobs if job.state == "agreed"]
    open_today = [job for job in agreed if any(w.first <= day <= w.last for w in job.windows)]
    minutes = sum(line.estimated_minutes for job in open_today for line in job.lines)
    promised = [job for job in open_today if any(w.promised and w.first == day for w in job.windows)]
    assert len(story.open_jobs) == 70
    assert len({job.lines[0].service for job in story.open_jobs}) == 7
    assert {job.state for job in story.open_jobs} == {"agreed", "estimated", "lead"}
    assert minutes > 1.4 * 4 * 480
    assert len(promised) == 8
    assert len({job.house for job in story.open_jobs}) == 70


@pytest.mark.parametrize("spanish", [False, True])
def test_names_are_no_known_words(spanish: bool) -> None:
    """No name is on the list of real ones, none comes twice, and too many are refused."""
    names = person_names(random.Random(5), spanish=spanish, count=150)
    assert len({family for _first, family in names}) == 150
    assert not {family.lower() for _first, family in names} & REAL_WORDS
    assert not {name.lower() for name in street_names(random.Random(5))} & REAL_WORDS
    with pytest.raises(ValueError, match="at most"):
        person_names(random.Random(5), spanish=spanish, count=10_000)


def _days(jobs: tuple[PastJob, ...]) -> list[list[PastJob]]:
    days: dict[tuple[date, str], list[PastJob]] = {}
    for job in jobs:
        days.setdefault((job.day, job.crew), []).append(job)
    return [sorted(day, key=lambda job: job.arrive_minute) for day in days.values()]
