"""Going through the pages as a person would: sign in, follow every link, one page of each kind."""

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.urls import Resolver404, resolve
from playwright.sync_api import Browser, BrowserContext, Error, Page, Response

from tests.browser.demo_site import DemoSite

ROLES = ("owner", "office", "crew lead")
# Addresses that are no pages: files to download and what ends the session.
NO_PAGES = ("/sign-out/", "/admin/", "/api/", "/static/")
MOST_PAGES = 120


@dataclass(frozen=True)
class Visited:
    """`route` is the pattern of the address in the URL map, such as `jobs/<row:job_id>/`."""

    role: str
    route: str
    path: str
    answer: Response


def signed_in(browser: Browser, site: DemoSite, role: str, width: int = 1280) -> BrowserContext:
    """A browser window of `role` (owner, office, crew lead; empty: nobody)."""
    context = browser.new_context(viewport={"width": width, "height": 800}, base_url=site.address)
    if role:
        sign_in(context, site, role)
    return context


def sign_in(context: BrowserContext, site: DemoSite, role: str) -> None:
    """Through the form, as a person does."""
    name, password = site.people[role]
    page = context.new_page()
    page.goto("/sign-in/")
    page.fill("#id_username", name)
    page.fill("#id_password", password)
    page.click("main button[type=submit]")
    page.wait_for_url(lambda address: "/sign-in/" not in address)
    page.close()


def send_out(browser: Browser, site: DemoSite) -> None:
    """Send the demo's day to the crews, unless that was done."""
    context = signed_in(browser, site, "office")
    page = context.new_page()
    page.goto("/day/")
    button = page.locator("form[action$='/send-out/'] button")
    if button.count():
        button.click()
        page.wait_for_load_state()
    context.close()


def route_of(path: str) -> str | None:
    """The pattern behind a path, or nothing for an address that is no page of ours."""
    if path.startswith(NO_PAGES):
        return None
    try:
        return resolve(path).route
    except Resolver404:
        return path  # a dead link: it is visited, and found out there


def links_of(page: Page) -> list[str]:
    """Paths (with query) of all links on the page that lead to our own pages."""
    found = page.eval_on_selector_all("a[href]:not([download])", "links => links.map(a => a.href)")
    parts = [urlsplit(link) for link in found]
    here = urlsplit(page.url).netloc
    return [
        p.path + (f"?{p.query}" if p.query else "") for p in parts if p.netloc == here and p.scheme.startswith("http")
    ]


def opened(page: Page, path: str) -> Response | None:
    """Go there; nothing for a file to download."""
    try:
        answer = page.goto(path)
    except Error as error:
        if "Download is starting" in str(error):
            return None
        raise
    return answer if "text/html" in answer.headers.get("content-type", "") else None


def every_page(page: Page, role: str, start: str = "/") -> Iterator[Visited]:
    """Visit one page of each kind that `role` reaches by links; the page is open while it is yielded."""
    waiting, seen = [start], set()
    while waiting and len(seen) < MOST_PAGES:
        path = waiting.pop(0)
        route = route_of(urlsplit(path).path)
        if route is None or route in seen:
            continue
        seen.add(route)
        answer = opened(page, path)
        if answer is None:
            continue
        yield Visited(role, route, path, answer)
        waiting.extend(links_of(page))
