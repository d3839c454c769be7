"""The main pages of each role, in our own words. A page appears once its room has given it an address."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

OFFICE_PAGES = (
    ("plans:today", _("Today")),
    ("plans:day_today", _("Day plan")),
    ("estimates:estimate_list", _("Estimates")),
    ("work:job_list", _("Jobs")),
    ("triage:leads", _("Leads")),
    ("customers:customer_list", _("Customers")),
    ("reminders:due_list", _("Due")),
    ("chalking:walls", _("Chalk")),
    ("earnings:report", _("Earnings")),
    ("outbox:message_list", _("Messages")),
    ("catalogue:rates", _("Rates")),
    ("mixing:products", _("Mixes")),
    ("customers:import_start", _("Import")),
)
CREW_PAGES = (("dispatch:crew_today", _("My route")),)
# Addresses that belong to a main page without lying below it: prefix of the path -> name of that page.
BELONGS_TO = {
    "/day/": "plans:day_today",
    "/day-plans/": "plans:day_today",
    "/sheets/": "plans:day_today",
    "/crews/": "plans:day_today",
    "/drives/": "plans:day_today",
    "/trucks/": "mixing:products",
    "/jobs/": "work:job_list",
    "/customers/import/": "customers:import_start",
    "/customers/": "customers:customer_list",
    "/properties/": "customers:customer_list",
    "/walls/": "customers:customer_list",
    "/due/": "reminders:due_list",
    "/texts/": "reminders:due_list",
    "/wages/": "earnings:report",
    "/mileage/": "earnings:report",
}


@dataclass(frozen=True)
class NavItem:
    """`current` is the value of aria-current: "page" for this very page, "true" for one below it, or empty."""

    label: str
    url: str
    current: str


def home_of(request: HttpRequest) -> str:
    """Where each role begins its day."""
    is_crew = getattr(getattr(request, "user", None), "is_crew_lead", False)
    return (_url(CREW_PAGES[0][0]) if is_crew else None) or "/"


def frame_of(request: HttpRequest) -> str:
    """The base template of whoever is signed in; the homeowners' for everybody else: they alone get here without."""
    user = getattr(request, "user", None)
    if getattr(user, "is_office", False):
        return "web/office.html"
    return "web/crew.html" if getattr(user, "is_crew_lead", False) else "web/homeowner.html"


def _url(name: str) -> str | None:
    try:
        return reverse(name)
    except NoReverseMatch:
        return None


def _main_page_of(path: str) -> str | None:
    return next((name for prefix, name in BELONGS_TO.items() if path.startswith(prefix)), None)


def _current(path: str, name: str, url: str) -> str:
    if path == url:
        return "page"
    owner = _main_page_of(path)
    below = name == owner if owner else url != "/" and path.startswith(url)
    return "true" if below else ""


def nav_items(request: HttpRequest, pages: tuple[tuple[str, object], ...]) -> list[NavItem]:
    """The entries whose rooms exist, with the one that `request` stands on marked."""
    found = [(name, str(label), _url(name)) for name, label in pages]
    return [NavItem(label, url, _current(request.path, name, url)) for name, label, url in found if url]
