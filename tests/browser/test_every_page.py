"""Every page of every role, in a real browser: accessibility, width, console, inline code."""

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Response, expect

from tests.browser.chromium import NARROW, WIDE
from tests.browser.demo_site import DemoSite
from tests.browser.visit import every_page, send_out, signed_in

pytestmark = pytest.mark.browser

# WCAG 2.2 A and AA, and the rules of good practice about headings and landmarks.
AXE = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
# Style and script within a page would need a weaker content security policy.
INLINE = re.compile(r"<style|\sstyle=|<script(?![^>]*\ssrc=)(?![^>]*application/json)|\son[a-z]+=|javascript:", re.I)


@pytest.fixture(scope="module", autouse=True)
def day_sent_out(browser: Browser, site: DemoSite) -> None:
    """So that the crew's pages and the sheets have something on them."""
    send_out(browser, site)


def watched(page: Page) -> list[str]:
    """What the page complains about in the console, gathered while it is used."""
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    return complaints


def faults_of(page: Page) -> list[str]:
    """What is wrong with the shape of the page that is open, in words."""
    found = []
    width = page.evaluate("document.documentElement.scrollWidth")
    if width > page.viewport_size["width"]:
        found.append(f"{width} px wide")
    if page.locator("h1").count() != 1:
        found.append(f"{page.locator('h1').count()} h1")
    return found


def barriers(page: Page, axe: Axe) -> list[str]:
    """What keeps somebody out: the rules that the page breaks, with the elements that break them."""
    found = axe.run(page, options=AXE).response["violations"]
    return [f"{rule['id']} ({rule['impact']}): {[node['html'][:160] for node in rule['nodes'][:3]]}" for rule in found]


def faults_of_answer(answer: Response) -> list[str]:
    """What the server sent must hold nothing inline and come with the policy that forbids it."""
    policy = answer.headers.get("content-security-policy", "")
    found = [f"inline: {part}" for part in INLINE.findall(answer.text())]
    if "default-src 'none'" not in policy or "unsafe" in policy:
        found.append(f"policy: {policy}")
    return found


# The owner's pages are the office's and some more: the office's are looked at on one width only.
@pytest.mark.parametrize(
    ("role", "width"),
    [
        ("", WIDE),
        ("", NARROW),
        ("owner", WIDE),
        ("owner", NARROW),
        ("office", WIDE),
        ("crew lead", WIDE),
        ("crew lead", NARROW),
    ],
)
def test_every_page_of_every_role(browser: Browser, site: DemoSite, role: str, width: int) -> None:
    """No accessibility fault, nothing wider than the screen, one h1, nothing inline, no console error, no dead link."""
    context, axe, faults = signed_in(browser, site, role, width), Axe(), {}
    page = context.new_page()
    complaints = watched(page)
    visited = []
    for at in every_page(page, role, "/" if role else "/sign-in/"):
        visited.append(at.route)
        # The rules are about the same elements at both widths; the narrow one crowds what is pressed most.
        found = barriers(page, axe) if width == NARROW else []
        faults[at.path] = [*found, *faults_of(page), *faults_of_answer(at.answer), *complaints]
        complaints.clear()
    context.close()
    listed = [f"{path}: {fault}" for path, found in faults.items() for fault in found]
    assert not listed, "\n".join(listed)
    assert len(visited) >= {"": 1, "crew lead": 2}.get(role, 20), visited


def test_repair_pages_work_under_the_policy(browser: Browser, site: DemoSite) -> None:
    """Django's admin loads without one refused script or style."""
    context = signed_in(browser, site, "owner")
    page = context.new_page()
    complaints: list[Any] = watched(page)
    page.goto("/admin/")
    page.goto("/admin/people/user/")
    page.locator("#result_list tbody th a").first.click()
    expect(page.locator("#user_form")).to_be_visible()
    context.close()
    assert complaints == []
