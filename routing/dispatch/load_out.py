"""What goes on the truck in the morning, from the services of the day. Common practice, no source."""

from collections.abc import Iterable

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from jobs.work.models import Job
from pricing.catalogue.models import Service


def service_name(service: Service) -> str:
    """The service in the reader's language, where the company has written it."""
    return service.name_es if get_language() == "es" and service.name_es else service.name


def load_out(jobs: Iterable[Job], truck_gear: str = "") -> tuple[str, ...]:
    """Gear for every day, then by the skills that the services need, the mix, and how much of each service is due."""
    lines = [line for job in jobs for line in job.lines.all()]
    skills = {skill.code: skill.name for line in lines for skill in line.service.skills.all()}
    return (
        _("Every day: hose, surfactant, test strips, plant water, goggles, gloves, first aid, cones, fuel, full tank"),
        *([_("On the truck: %(gear)s") % {"gear": truck_gear}] if truck_gear else []),
        *(_gear_of(code, name) for code, name in sorted(skills.items())),
        *([_for_chalk()] if any(line.service.removes_chalk for line in lines) else []),
        _("Mix: test the stock, strength by the product label and no stronger; label the tank and every jug."),
        *_amounts(lines),
    )


def _gear_of(code: str, name: str) -> str:
    known = {
        "ladder": _("Ladders with levellers and stand-offs, ropes"),
        "roof": _("Roof pump and hose, long wand, fall protection"),
        "pure_water": _("Pure-water pole, brushes, resin or membrane checked"),
        "surface_cleaner": _("Surface cleaner, squeegee, drain cover"),
    }
    return known.get(code, _("For %(skill)s: its gear") % {"skill": name})


def _for_chalk() -> str:
    return _("Chalk removal: soft brushes, pole, microfibre cloths, cleaner for test spots first")


def _amounts(lines: list) -> Iterable[str]:
    amounts: dict[Service, int] = {}
    for line in lines:
        amounts[line.service] = amounts.get(line.service, 0) + line.quantity
    for service in sorted(amounts, key=lambda service: service.name):
        unit = service.get_unit_display()
        yield f"{service_name(service)}: {amounts[service]:,} {unit}"
