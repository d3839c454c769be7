"""Every page of every role, in a real browser: accessibility, width, console, inline code."""

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.browser.chromium import NARROW, WIDE
from tests.browser.demo_site import DemoSite
from tests.browser.visit import ROLES, every_page, signed_in

pytestmark = pytest.mark.browser

# WCAG 2.2 A and AA, and the rules of good practice about headings and landmarks.
AXE = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
# Style and script within a page would need a weaker content security policy.
INLINE = re.compile(r"<style|\sstyle=|<script(?![^>]*\ssrc=)(?![^>]*application/json)|\son[a-z]+=|javascript:", re.I)


def watched(page: Page) -> list[str]:
    """What the page complains about in the console, gathered while it is used."""
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    return complaints


def faults_of(page: Page, axe: Axe) -> list[str]:
    """What is wrong with the page that is open, in words."""
    found = []
    width = page.evaluate("document.documentElement.scrollWidth")
    if width > page.viewport_size["width"]:
        found.append(f"{width} px wide")
    if page.locator("h1").count() != 1:
        found.append(f"{page.locator('h1').count()} h1")
    for violation in axe.run(page, options=AXE).response["violations"]:
        nodes = [node["html"][:160] for node in violation["nodes"][:3]]
        found.append(f"{violation['id']} ({violation['impact']}): {nodes}")
    return found


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("role", ["", *ROLES])
def test_every_page_of_every_role(browser: Browser, site: DemoSite, role: str, width: int) -> None:
    """No accessibility fault, nothing wider than the screen, one h1, no error in the console, no dead link."""
    context, axe, faults = signed_in(browser, site, role, width), Axe(), {}
    page = context.new_page()
    complaints = watched(page)
    visited = []
    for at in every_page(page, role, "/" if role else "/sign-in/"):
        visited.append(at.route)
        if found := faults_of(page, axe) + complaints:
            faults[at.path] = list(found)
        complaints.clear()
    context.close()
    assert not faults, "\n".join(f"{path}: {fault}" for path, found in faults.items() for fault in found)
    assert len(visited) >= (1 if role in ("", "crew lead") else 8), visited


@pytest.mark.parametrize("role", ["", *ROLES])
def test_no_inline_style_or_script(browser: Browser, site: DemoSite, role: str) -> None:
    """What the server sends holds no inline style, script or handler, and comes with the policy that forbids them."""
    context = signed_in(browser, site, role)
    page, faults = context.new_page(), {}
    for at in every_page(page, role, "/" if role else "/sign-in/"):
        answer = context.request.get(at.path)
        inline = INLINE.findall(answer.text())
        policy = answer.headers.get("content-security-policy", "")
        if inline or "default-src 'none'" not in policy or "unsafe" in policy:
            faults[at.path] = (inline, policy)
    context.close()
    assert not faults


def test_repair_pages_work_under_the_policy(browser: Browser, site: DemoSite) -> None:
    """Django's admin loads without one refused script or style."""
    context = signed_in(browser, site, "owner")
    page = context.new_page()
    complaints: list[Any] = watched(page)
    for path in ("/admin/", "/admin/people/user/", "/admin/people/user/add/"):
        page.goto(path)
        assert page.locator("#site-name, h1").count() > 0
    context.close()
    assert complaints == []
