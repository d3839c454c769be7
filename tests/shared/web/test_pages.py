"""The ground that every page stands on."""

from typing import Any

import pytest
from django.template import Context, Template
from django.test import Client, RequestFactory

from tests import factories


@pytest.mark.django_db
def test_sign_in_page_is_open_to_everybody() -> None:
    """Nobody needs an account to reach the page where one signs in."""
    answer = Client().get("/sign-in/")
    assert answer.status_code == 200
    assert "<h1>Sign in</h1>" in answer.content.decode()


@pytest.mark.django_db
def test_unknown_page_says_so_and_offers_a_way_on() -> None:
    """A wrong address is answered in plain words with a link."""
    answer = Client().get("/no-such-page/")
    assert answer.status_code == 404
    assert "There is no such page" in answer.content.decode()
    assert 'href="/sign-in/"' in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/no-such-page/", "/notice/a:b:c/", "/opt-out/e1.altered/", "/estimate/a:b:c/"])
def test_who_has_no_account_is_not_sent_to_the_office(path: str) -> None:
    """A homeowner whose link was cut off finds whom to call, and no button to a page that asks for a password."""
    factories.set_company(name="Sample Washing", phone_e164="+16145550100")
    answer = Client().get(path)
    shown = answer.content.decode()
    assert (answer.status_code, "tel:+16145550100" in shown, "first page" in shown) == (404, True, False)


@pytest.mark.django_db
def test_an_address_that_takes_forms_only_says_so(client_of: Any, office: Any, owner: Any) -> None:
    """Who was signed out while filling in a form is led to its address; an empty page would be the end of the way."""
    for client, way_on in ((client_of(office), 'href="/"'), (client_of(owner), "first page")):
        answer = client.get("/due/queue/")
        assert (answer.status_code, answer["Allow"]) == (405, "POST")
        for words in ("It only takes what a form sends", way_on):
            assert words in answer.content.decode(), words
    assert client_of(office).get("/api/due/queue/").headers["Content-Type"] != "text/html"


def rendered(source: str, **context: object) -> str:
    request = RequestFactory().get("/x/?q=a&page=2")
    return Template("{% load wallday %}" + source).render(Context({"request": request, **context}))


@pytest.mark.django_db
def test_chart_and_sketch_render() -> None:
    """Both pictures come out as SVG with a title."""
    rows = [{"label": "House wash", "value": 21000, "low": 17000, "high": 25000, "note": "above target"}]
    assert "<title>" in rendered("{% interval_chart rows target=18000 %}", rows=rows)
    routes = [{"label": "Crew one", "stops": [{"latitude": 40.0, "longitude": -82.0}]}]
    assert "<title>" in rendered("{% route_sketch routes yard=yard %}", routes=routes, yard=(40.1, -82.1))
