"""The ground that every page stands on."""

import pytest
from django.template import Context, Template
from django.test import Client, RequestFactory


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
    assert 'href="/"' in answer.content.decode()


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
