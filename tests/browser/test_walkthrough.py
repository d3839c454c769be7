"""A crew lead walks around a house while the signal comes and goes: everything goes up, in order, exactly once."""

import re
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Locator, Page, expect
from playwright.sync_api import Error as PlaywrightError

from tests import factories
from tests.browser.chromium import NARROW
from tests.browser.demo_site import DemoSite
from tests.browser.test_every_page import faults_of
from tests.browser.visit import send_out, signed_in

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def sent(browser: Browser, site: DemoSite) -> DemoSite:
    """The demo's day, sent out to the crews."""
    send_out(browser, site)
    return site


@pytest.fixture
def phone(browser: Browser, sent: DemoSite) -> Any:
    context = signed_in(browser, sent, "crew lead", NARROW)
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()


def open_walkthrough(page: Page, number: int = 0) -> str:
    """The walkthrough of a stop, opened at once from the route; every walkthrough of the route is kept meanwhile."""
    page.goto("/crew/")
    page.evaluate("navigator.serviceWorker.ready")
    links = page.locator("a[data-keep][href*='/walkthrough/']").all()
    paths = [link.get_attribute("href") for link in links]
    page.goto(paths[number])
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    for path in paths:
        page.wait_for_function("path => caches.match(path).then(Boolean)", arg=path)
    return paths[number]


def tap_spots(wall: Locator, grades: tuple[str, ...] = ("3", "2", "4")) -> None:
    for number, grade in enumerate(grades):
        wall.locator("fieldset").nth(number).locator("label", has_text=grade).first.click()


def open_form(page: Page) -> list[Locator]:
    """The walls that have to be tested; where a walkthrough is there already, this one corrects it."""
    walls = page.locator("[data-wall][data-needed]").all()
    if not walls[0].is_visible():
        page.get_by_text("Write down a new walkthrough instead").click()
    return walls


def fill_in(page: Page) -> None:
    """Three spots on the first wall with a finding there; the others cannot be reached."""
    wall = open_form(page)[0]
    tap_spots(wall)
    wall.get_by_text("Something is not right here").click()
    wall.get_by_text("outlet without a cover").click()
    for other in page.locator("[data-wall][data-needed]").all()[1:]:
        other.get_by_text("Not tested").click()
        other.get_by_text("cannot be reached").click()


def done(page: Page) -> None:
    page.get_by_role("button", name="Done: write it down").click()


def done_and_up(page: Page) -> None:
    """The page is loaded anew when all of it went up."""
    with page.expect_navigation():
        done(page)


def picture(folder: Path, name: str, size: tuple[int, int] = (640, 480)) -> Path:
    path = folder / name
    path.write_bytes(factories.make_picture(size=size))
    return path


def calls(page: Page) -> list[str]:
    """The methods of what goes up from now on, in order."""
    sent: list[str] = []
    page.context.on("request", lambda request: sent.append(request.method) if "/api/walk" in request.url else None)
    return sent


def test_the_signal_goes_in_the_middle(phone: Page, tmp_path: Path) -> None:
    """Off before the last tap; the page says what waits, opens again offline, and sends once when it is back."""
    open_walkthrough(phone, 2)
    assert faults_of(phone) == []
    fill_in(phone)
    chosen = phone.locator("[data-wall] input[type=file]").first
    for name, size in (("one.jpg", (640, 480)), ("two.jpg", (300, 200))):  # as a camera gives them, one by one
        chosen.set_input_files(picture(tmp_path, name, size))
        expect(phone.get_by_label(f"Take this picture away: {name}")).to_be_visible()
    phone.reload()
    expect(phone.locator("[data-finding] input:checked")).to_have_count(1)
    expect(phone.locator("fieldset.press-seven input:checked")).to_have_count(3)
    expect(phone.locator("[data-chosen] figure")).to_have_count(2)
    assert faults_of(phone) == []
    sent = calls(phone)
    phone.context.set_offline(True)
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 2")
    phone.reload()
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 2")
    offline = len(sent)
    with phone.expect_navigation():
        phone.context.set_offline(False)
    expect(phone.get_by_text("2 of 2 pictures are here")).to_be_visible()
    assert sent[offline:] == ["POST", "PUT", "PUT"]
    phone.reload()
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    phone.wait_for_timeout(500)
    expect(phone.get_by_text("2 of 2 pictures are here")).to_be_visible()
    assert sent[offline:] == ["POST", "PUT", "PUT"]
    phone.get_by_role("button", name="Show the homeowner").click()
    phone.get_by_role("link", name="English").click()  # it opens in the customer's language
    expect(phone.locator(".notice-text figure")).to_have_count(2)
    expect(phone.locator(".notice-text")).to_contain_text("chalk 3 of 5")
    expect(phone.locator(".notice-text figcaption").first).to_contain_text("wall")
    assert faults_of(phone) == []
    phone.get_by_label("Your name").fill("Ann Sample")
    phone.get_by_role("button", name="I have seen it").click()
    expect(phone.get_by_text("Acknowledged. The work may start.")).to_be_visible()


def test_few_taps(phone: Page) -> None:
    """Each wall takes three, the rain one and the end one; what is missing is said before anything is kept."""
    open_walkthrough(phone)
    walls = open_form(phone)
    taps = 1
    phone.get_by_role("group", name="Days since rain").locator("label", has_text="3").click()
    for wall in walls[:-1]:
        tap_spots(wall, ("0", "0", "1"))
        taps += 3
    done(phone)
    name = walls[-1].locator("h2").inner_text()
    expect(phone.locator("#missing")).to_have_text(f"Test three spots or say why not: {name}.")
    expect(walls[-1].locator("[data-reading]")).to_have_text("0 / 3")
    tap_spots(walls[-1], ("1", "0", "0"))
    expect(walls[-1].locator("[data-reading]")).to_have_text("0")
    done_and_up(phone)
    taps += 4
    expect(phone.get_by_text("Walkthrough done: nothing to show.")).to_be_visible()
    assert taps == 2 + 3 * len(walls)


def test_two_tabs_send_once(phone: Page) -> None:
    """Both hear that the signal is back; the entry goes up once."""
    path = open_walkthrough(phone)
    other = phone.context.new_page()
    other.goto(path)
    fill_in(phone)
    phone.context.set_offline(True)
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1")
    sent = calls(phone)
    phone.context.set_offline(False)
    for tab in (phone, other):
        with suppress(PlaywrightError):  # a tab that heard of it by itself is being loaded anew
            tab.evaluate("window.dispatchEvent(new Event('online'))")
    expect(phone.get_by_role("button", name="Show the homeowner")).to_be_visible()
    phone.wait_for_timeout(500)
    assert sent == ["POST"]


def test_signed_out_meanwhile(phone: Page, sent: DemoSite) -> None:
    """It waits, the page says to sign in, and it goes up afterwards."""
    open_walkthrough(phone)
    fill_in(phone)
    phone.context.clear_cookies()
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1")
    phone.get_by_role("link", name="Sign in again, then it goes up.").click()
    name, password = sent.people["crew lead"]
    phone.fill("#id_username", name)
    phone.fill("#id_password", password)
    phone.click("main button[type=submit]")
    expect(phone.get_by_role("button", name="Show the homeowner")).to_be_visible()
    expect(phone.locator("#waiting")).to_be_hidden()


def test_another_crew_lead_on_the_same_phone(phone: Page) -> None:
    """What somebody else wrote is not sent under the new name, and is not silent either."""
    open_walkthrough(phone)
    phone.evaluate("wallday.keep([{ user: '0', kind: 'entry', key: 'x', body: {} }])")
    sent = calls(phone)
    phone.reload()
    expect(phone.locator("#waiting")).to_contain_text("Entries of somebody else on this phone: 1")
    assert sent == []
    phone.evaluate("wallday.store('readwrite', (queue) => queue.clear())")


def test_no_room_on_the_phone(phone: Page, tmp_path: Path) -> None:
    """Nothing can be kept: it goes up at once; without a signal the page says so and loses nothing."""
    open_walkthrough(phone)
    phone.evaluate("() => { IDBObjectStore.prototype.add = () => { throw new DOMException('QuotaExceededError'); }; }")
    fill_in(phone)
    phone.locator("[data-wall] input[type=file]").first.set_input_files(picture(tmp_path, "one.jpg"))
    expect(phone.get_by_text("it forgets this picture when the page is closed")).to_be_visible()
    phone.context.set_offline(True)
    done(phone)
    expect(phone.locator("#missing")).to_contain_text("No room on this phone and no signal.")
    expect(phone.locator("fieldset.press-seven input:checked")).to_have_count(3)
    sent = calls(phone)
    phone.context.set_offline(False)
    done_and_up(phone)
    expect(phone.get_by_text("1 of 1 pictures are here")).to_be_visible()
    assert sent == ["POST", "PUT"]


def test_a_refused_entry_is_put_right(phone: Page, tmp_path: Path) -> None:
    """Which house and why; its pictures wait behind it; the next entry goes up; put right, all of it goes up."""
    first, street = open_walkthrough(phone, 1), phone.locator("h1").inner_text().partition(", ")[2]
    fill_in(phone)
    phone.get_by_label("Link to a short video").fill("http://example.com/not-safe")
    phone.locator("[data-wall] input[type=file]").first.set_input_files(picture(tmp_path, "one.jpg", (310, 210)))
    expect(phone.locator("[data-chosen] figure")).to_have_count(1)
    phone.context.set_offline(True)
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 1")
    kept = phone.evaluate("caches.open('crew-pages-1').then((all) => all.keys()).then((all) => all.map((r) => r.url))")
    phone.goto(next(page for page in kept if "/crew/walkthrough/" in page and not page.endswith(first)))
    fill_in(phone)
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 2, pictures 1")
    phone.context.set_offline(False)
    expect(phone.locator("#waiting")).to_contain_text(f"Not taken: {street}")
    expect(phone.locator("#waiting")).to_contain_text("The link to the video must begin with https://.")
    expect(phone.locator("#waiting")).not_to_contain_text("They go up when there is a signal")
    phone.get_by_role("button", name="Put it right").click()
    phone.wait_for_url(f"**{first}")
    expect(phone.locator("[data-chosen] figure")).to_have_count(1)
    phone.get_by_label("Link to a short video").fill("https://example.com/safe")
    done_and_up(phone)
    expect(phone.get_by_text("1 of 1 pictures are here")).to_be_visible()


def test_too_large_is_said_at_once(phone: Page, tmp_path: Path) -> None:
    """Two hundred megabytes are never sent; the others are kept."""
    open_walkthrough(phone)
    fill_in(phone)
    large = tmp_path / "film.jpg"
    with large.open("wb") as file:
        file.truncate(200 * 1024 * 1024)
    sent = calls(phone)
    phone.locator("[data-wall] input[type=file]").first.set_input_files(
        [large, picture(tmp_path, "one.jpg", (320, 200))]
    )
    expect(phone.get_by_text("film.jpg: larger than 20 MB.")).to_be_visible()
    done_and_up(phone)
    expect(phone.get_by_text("1 of 1 pictures are here")).to_be_visible()
    assert sent == ["POST", "PUT"]


def test_an_answer_that_was_lost_is_asked_again(phone: Page) -> None:
    """The server took it, the phone never heard: it sends again, and there is still one."""
    path = open_walkthrough(phone)
    lost: list[str] = []

    def lose(route: Any) -> None:
        if not lost:
            lost.append(route.fetch().text())
            route.abort()
        else:
            route.continue_()

    phone.context.route("**/api/walkthroughs/", lose)
    fill_in(phone)
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 0")
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    expect(phone.get_by_text("Written down")).to_be_visible()
    assert '"id"' in lost[0]
    answer = phone.evaluate(
        "id => fetch('/crew/walkthrough/' + id + '/').then(page => page.text())", path.rstrip("/").split("/")[-1]
    )
    assert "0 of 0 pictures are here" in answer


def test_what_is_refused_is_said(phone: Page, tmp_path: Path) -> None:
    """A file that is no picture: the rest goes up and is shown; what was not taken is said, and can be thrown away.

    It does not say that a signal is waited for: what was refused does not go up by itself."""
    open_walkthrough(phone, 1)
    fill_in(phone)
    (tmp_path / "zip.jpg").write_bytes(b"PK\x03\x04" + b"\0" * 100)
    phone.locator("[data-wall] input[type=file]").first.set_input_files(tmp_path / "zip.jpg")
    expect(phone.locator("[data-chosen]").get_by_text("zip.jpg", exact=True)).to_be_visible()
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("zip.jpg")
    expect(phone.locator("#waiting")).to_contain_text("This is no picture that we take")
    expect(phone.get_by_role("button", name="Show the homeowner")).to_be_visible()
    anew = phone.get_by_text("Write down a new walkthrough instead")  # two lines on this phone, close together
    assert 48 <= anew.evaluate("summary => summary.offsetHeight") < 80
    expect(phone.locator("#waiting")).to_contain_text("This is no picture that we take")
    expect(phone.locator("#waiting")).not_to_contain_text("They go up when there is a signal")
    phone.get_by_role("button", name="Throw it away").click()
    expect(phone.locator("#waiting")).to_be_hidden()


def test_the_homeowner_far_away(phone: Page, browser: Browser, sent: DemoSite) -> None:
    """Nobody home, sent by email; the link opens without an account, in two languages, and takes one name."""
    open_walkthrough(phone, 1)
    fill_in(phone)
    done_and_up(phone)
    phone.get_by_role("button", name="Show the homeowner").click()
    phone.get_by_text("Nobody is home").click()
    phone.get_by_role("button", name="Send it and write that down").click()
    expect(phone.get_by_text("Written down. The work may start.")).to_be_visible()
    office = signed_in(browser, sent, "office")
    messages = office.new_page()
    messages.goto("/messages/")
    messages.goto(messages.locator("main tbody th a").first.get_attribute("href"))
    link = re.search(r"http\S+/notice/[^\s<\"]+", messages.content()).group(0)
    office.close()
    context = browser.new_context(viewport={"width": NARROW, "height": 800}, base_url=sent.address)
    page = context.new_page()
    page.goto(urlsplit(link).path)
    for language, button in (("es", "Lo he visto"), ("en", "I have seen it")):
        page.goto(re.sub(r"/(en|es)/$", f"/{language}/", page.url))
        assert faults_of(page) == []
        expect(page.get_by_role("button", name=button)).to_be_visible()
    page.get_by_label("Your name").fill("Ann Sample")
    page.get_by_role("button", name="I have seen it").click()
    expect(page.get_by_role("heading", name="Acknowledged")).to_be_visible()
    assert faults_of(page) == []
    context.close()
