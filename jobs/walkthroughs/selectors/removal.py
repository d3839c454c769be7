"""What taking the chalk off would be: the walls of a walkthrough on which it has to be shown, and the card's price."""

from dataclasses import dataclass, replace

from jobs.customers.models import Wall
from jobs.walkthroughs.domain import must_be_shown
from jobs.walkthroughs.models import Walkthrough, WallFinding
from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.domain.states import CLOSED
from jobs.work.models import Job
from pricing.catalogue.models import Service
from pricing.estimates.inputs import WantedLine
from pricing.estimates.quotes import CardQuote, card_quote


@dataclass(frozen=True, slots=True)
class RemovalQuote:
    """The service, the walls, and what the card asks for them on the day of the walkthrough."""

    service: Service
    walls: tuple[Wall, ...]
    quote: CardQuote


def chalky_findings(walkthrough: Walkthrough) -> list[WallFinding]:
    """The walls on which chalk was found that has to be shown."""
    rows = walkthrough.wall_findings.select_related("wall", "reading")
    return [row for row in rows if must_be_shown(row.reading.reading)]


def removal_quote(walkthrough: Walkthrough) -> RemovalQuote | None:
    """By the rate card; nothing where no wall is chalky, the card lacks the work, or an area is not known."""
    found = chalky_findings(walkthrough)
    service = Service.objects.filter(removes_chalk=True, is_offered=True, unit="wall_sqft").order_by("pk").first()
    if not found or service is None:
        return None
    place = place_facts(place=walkthrough.property, job=walkthrough.job)
    read = {row.wall_id: float(row.reading.reading) for row in found}
    walls = tuple(replace(wall, chalk=read[wall.wall_ref]) for wall in place.walls if wall.wall_ref in read)
    quote = card_quote(wanted=WantedLine(service, walls=walls), place=place, on=walkthrough.walked_on)
    return RemovalQuote(service, tuple(row.wall for row in found), quote) if quote else None


def removal_job(property_id: int) -> Job | None:
    """The open job of a property that takes chalk off, the newest where several."""
    jobs = Job.objects.filter(property=property_id, lines__service__removes_chalk=True)
    return jobs.exclude(state__in=CLOSED).order_by("-pk").first()


def may_open_removal(walkthrough: Walkthrough) -> bool:
    """Whether there is chalk to take off, at a price, and no open job does so yet."""
    return removal_job(walkthrough.property_id) is None and removal_quote(walkthrough) is not None


def asks_about_removal(walkthrough: Walkthrough) -> bool:
    """Whether the homeowner is asked for a wish: there is chalk, and no open job takes it off."""
    return bool(chalky_findings(walkthrough)) and removal_job(walkthrough.property_id) is None
