"""What every template may use."""

from typing import Any

from django.http import HttpRequest

from shared.web.navigation import CREW_PAGES, OFFICE_PAGES, home_of, nav_items
from shared.web.present import company_now


def page(request: HttpRequest) -> dict[str, Any]:
    """The company, and where the role that is signed in begins and goes from there."""
    user = getattr(request, "user", None)
    return {
        "company": company_now(),
        "home_url": home_of(request),
        "office_nav": nav_items(request, OFFICE_PAGES) if getattr(user, "is_office", False) else [],
        "crew_nav": nav_items(request, CREW_PAGES) if getattr(user, "is_crew_lead", False) else [],
    }
