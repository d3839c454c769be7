"""Chalk that was found opens a separate job, at the price that the notice gave, once."""

from typing import Any

import pytest
import time_machine
from django.test import Client

from jobs.walkthroughs.links import notice_token
from jobs.walkthroughs.models import Acknowledgement, Notice
from jobs.walkthroughs.services import notice_acknowledge, removal_open
from jobs.work.models import Job
from jobs.work.services import job_decline
from pricing.catalogue.services import catalogue_defaults
from shared.errors import Refused
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT


@pytest.fixture(autouse=True)
def moment() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def notice() -> Notice:
    """Chalk 3 on the north wall of 500 sq ft and 1 on the south wall; the card asks $125.00 per 100 sq ft."""
    catalogue_defaults(on=NOW.date())
    place = factories.make_property()
    north = factories.make_wall(property=place, name="north wall", area_sqft=500)
    south = factories.make_wall(property=place, name="south wall", area_sqft=400)
    walls = tuple(factories.tested(wall, chalk) for wall, chalk in ((north, 3), (south, 1)))
    return factories.make_notice(job=factories.make_job(property=place), walls=walls)


def removals() -> list[Job]:
    return list(Job.objects.filter(lines__service__removes_chalk=True))


def test_the_wish_opens_a_job_of_its_own(notice: Notice) -> None:
    """A lead with the chalky wall alone, at the notice's own price; the job that was walked around stays as it is."""
    assert "about $625.00 before tax" in notice.prints.get(language="en").html
    address = f"/notice/{notice_token(notice.pk)}/en/"
    assert "Please send me a price" in Client().get(address).content.decode()
    Client().post(address, {"language": "en", "typed_name": "Ann Sample", "wants_removal": "on"})
    job = Job.objects.latest("pk")
    line = job.lines.get()
    walked = notice.walkthrough.job
    assert (job.state, job.property, job.source) == ("lead", walked.property, f"found on job {walked.pk}")
    assert (line.price_cents, line.quantity, [wall.name for wall in line.walls.all()]) == (625_00, 500, ["north wall"])
    assert line.estimated_minutes > 0
    assert walked.lines.filter(service__removes_chalk=True).count() == 0
    assert Event.objects.get(kind="walkthrough.removal_opened").data == {"job": job.pk}
    assert "A price for taking the chalk off is wanted" in Client().get(address).content.decode()


def test_without_the_wish_nothing_is_opened(notice: Notice) -> None:
    """Seeing it is no order."""
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOW, by_link=True)
    assert removals() == []


def test_one_open_job_for_a_property(notice: Notice) -> None:
    """Opened again it is the same; after it was declined there may be another."""
    first = removal_open(walkthrough=notice.walkthrough, now=NOW)
    assert removal_open(walkthrough=notice.walkthrough, now=NOW) == first
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOW, by_link=True, wants_removal=True)
    assert removals() == [first]
    job_decline(job=first, reason="too dear")
    assert removal_open(walkthrough=notice.walkthrough, now=NOW) != first


def test_where_no_price_is_known() -> None:
    """The wish is kept for the office to see; the job waits for the wall's area, and says so."""
    catalogue_defaults(on=NOW.date())
    place = factories.make_property()
    factories.make_wall(property=place, area_sqft=None)
    notice = factories.make_notice(job=factories.make_job(property=place))
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOW, by_link=True, wants_removal=True)
    assert Acknowledgement.objects.get().wants_removal
    assert removals() == []
    with pytest.raises(Refused, match="area of a chalky wall is not known"):
        removal_open(walkthrough=notice.walkthrough, now=NOW)


def test_the_office_opens_it(notice: Notice, client_of: Any, office: Any, crew_lead: Any) -> None:
    """One button on the job's page, a link afterwards; not for the crew."""
    address = f"/walkthroughs/{notice.walkthrough_id}/removal/"
    page = client_of(office).get(f"/jobs/{notice.walkthrough.job_id}/").content.decode()
    assert "Open a job to take the chalk off" in page
    assert client_of(crew_lead).post(address).status_code == 403
    assert removals() == []
    opened = client_of(office).post(address, follow=True).content.decode()
    assert "This is the job that takes the chalk off." in opened
    page = client_of(office).get(f"/properties/{notice.walkthrough.property_id}/").content.decode()
    assert "The job that takes the chalk off" in page
    assert "Open a job to take" not in page
    assert client_of(office).post("/walkthroughs/999999/removal/").status_code == 404
