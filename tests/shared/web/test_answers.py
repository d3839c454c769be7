"""Parts for htmx, error pages, and the headers of every answer."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib import messages
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import include, path

from shared.errors import Conflict, Stale
from shared.web.htmx import part_template, render_page
from shared.web.navigation import OFFICE_PAGES, nav_items
from shared.web.present import company_now, request_begins, request_ends


def listed(request: HttpRequest) -> HttpResponse:
    messages.success(request, "Done <so>")
    return render_page(request, "web/office.html", {"text": "x", "kind": "good"}, part="notice")


def conflict(request: HttpRequest) -> HttpResponse:
    raise Conflict("The crew has left already.")


def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("a secret detail")


def refused(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


def strange(request: HttpRequest) -> HttpResponse:
    raise SuspiciousOperation("x")


urlpatterns = [
    path("listed/", listed),
    path("conflict/", conflict),
    path("broken/", broken),
    path("refused/", refused),
    path("strange/", strange),
    path("api/broken/", broken),
    path("api/refused/", refused),
    path("", include("shared.people.urls")),
    path("", include(([path("earnings/", listed, name="report")], "earnings"))),
    path(
        "customers/",
        include(
            ([path("", listed, name="customer_list"), path("import/", listed, name="import_start")], "customers"),
        ),
    ),
]
handler400 = "shared.web.views.bad_request"
handler403 = "shared.web.views.not_allowed"
handler404 = "shared.web.views.not_found"
handler500 = "shared.web.views.server_error"

here = override_settings(ROOT_URLCONF=__name__)


@pytest.fixture
def browser(office: Any, client_of: Callable[[Any], Client]) -> Client:
    client = client_of(office)
    client.raise_request_exception = False
    return client


def test_part_lies_beside_its_page() -> None:
    """The name of a part follows from its page."""
    assert part_template("plans/day.html", "routes") == "plans/parts/routes.html"


@here
def test_htmx_gets_the_part_and_the_notices(browser: Client) -> None:
    """A part comes without the page around it, brings its notices along, and caches learn what it depends on."""
    answer = browser.get("/listed/", headers={"HX-Request": "true"})
    text = answer.content.decode()
    assert "<html" not in text
    assert 'hx-swap-oob="true"' in text
    assert "Done &lt;so&gt;" in text
    assert "HX-Request" in answer["Vary"]


@here
@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/conflict/", 409, "The crew has left already."),
        ("/broken/", 500, "Something went wrong here"),
        ("/refused/", 403, "This page is not for your role"),
        ("/strange/", 400, "This request was not understood"),
        ("/nowhere/", 404, "There is no such page"),
    ],
)
def test_errors_in_plain_words_with_a_way_on(browser: Client, address: str, status: int, words: str) -> None:
    """Each error page says what happened, links on, and gives no inner detail away."""
    answer = browser.get(address)
    text = answer.content.decode()
    assert answer.status_code == status
    assert words in text
    assert 'href="/"' in text
    assert "secret" not in text
    assert text.count("<h1>") == 1


@here
def test_an_error_within_a_part_goes_to_the_live_region(browser: Client) -> None:
    """The page stays as it is; the words appear where screen readers listen."""
    for address in ("/conflict/", "/broken/"):
        answer = browser.get(address, headers={"HX-Request": "true"})
        assert answer["HX-Retarget"] == "#messages"
        assert "<html" not in answer.content.decode()


@here
def test_problem_offers_the_page_one_came_from(browser: Client) -> None:
    """Only pages of our own are offered; a foreign address is not."""
    own = browser.get("/conflict/", headers={"Referer": "http://testserver/day/main/2026-06-01/?x=1"})
    assert 'href="/day/main/2026-06-01/?x=1"' in own.content.decode()
    foreign = browser.get("/conflict/", headers={"Referer": "http://elsewhere.example/day/"})
    assert "elsewhere" not in foreign.content.decode()


@here
@pytest.mark.parametrize(("address", "status"), [("/api/broken/", 500), ("/api/refused/", 403), ("/api/none/", 404)])
def test_the_api_answers_with_problem_details(browser: Client, address: str, status: int) -> None:
    """Also where no view of the API was reached."""
    answer = browser.get(address)
    assert answer["Content-Type"] == "application/problem+json"
    body = json.loads(answer.content)
    assert (body["status"], body["instance"]) == (status, address)
    assert "secret" not in answer.content.decode()


@here
@pytest.mark.django_db
def test_server_error_page_needs_no_database(monkeypatch: pytest.MonkeyPatch) -> None:
    """A broken database must not break the page that says so."""
    from django.test import RequestFactory

    from shared.web import present, views

    monkeypatch.setattr(present, "company_get", lambda: (_ for _ in ()).throw(AssertionError("asked the database")))
    answer = views.server_error(RequestFactory().get("/x/"))
    assert answer.status_code == 500


def test_a_form_without_its_token_is_explained(office: Any) -> None:
    """Refused forms say how to go on."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(office)
    answer = client.post("/people/me/language/", {"language": "es"})
    assert answer.status_code == 400
    assert "The page was open too long" in answer.content.decode()


@pytest.mark.parametrize("user", ["owner", "office", "crew_lead", None])
def test_headers_of_every_answer(user: str | None, request: pytest.FixtureRequest, client_of: Any, db: None) -> None:
    """The content security policy has no unsafe source, and the page may not be framed or sniffed."""
    client = client_of(request.getfixturevalue(user)) if user else Client()
    answer = client.get("/people/me/" if user else "/sign-in/")
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"


@here
def test_the_present_page_is_marked(rf: Any) -> None:
    """A page below a main page marks that one; of two main pages on one path the closer counts."""

    def current(address: str) -> dict[str, str]:
        items = nav_items(rf.get(address), OFFICE_PAGES)
        return {item.url: item.current for item in items if item.current}

    assert current("/earnings/") == {"/earnings/": "page"}
    assert current("/customers/import/check/") == {"/customers/import/": "true"}
    assert current("/properties/3/") == {"/customers/": "true"}
    assert [item.label for item in nav_items(rf.get("/x/"), OFFICE_PAGES)] == ["Customers", "Earnings", "Import"]


def test_company_is_read_once_per_request(db: None, django_assert_num_queries: Any) -> None:
    """However often a page asks, the row is read once; the next request reads it anew."""
    company_now()
    request_begins()
    try:
        with django_assert_num_queries(1):
            company_now()
            company_now()
    finally:
        request_ends()
    with django_assert_num_queries(1):
        company_now()


def test_stale_is_told_apart() -> None:
    """Stale work has a title of its own."""
    from shared.web.views import PROBLEM_TITLES

    assert str(PROBLEM_TITLES[Stale.status]) == "Somebody else changed this meanwhile"
