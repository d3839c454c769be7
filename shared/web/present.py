"""The firm's settings once per request: pages ask for the company, its currency and its zone many times."""

from contextvars import ContextVar
from datetime import date

from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get

# None outside of a request; an empty list while a request has not asked yet; then the one company.
_held: ContextVar[list[Company] | None] = ContextVar("wallday_company", default=None)


def request_begins() -> None:
    _held.set([])


def request_ends() -> None:
    _held.set(None)


def company_now() -> Company:
    """The company, read at most once per request."""
    held = _held.get()
    if held is None:
        return company_get()
    if not held:
        held.append(company_get())
    return held[0]


def today_here() -> date:
    """The company's date."""
    return clock.local_date(company_now().timezone, clock.now())
