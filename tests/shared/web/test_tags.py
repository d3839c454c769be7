"""Template tags: fields that a screen reader understands, pages of a list, captured titles."""

from typing import Any

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.test import RequestFactory


class Sample(forms.Form):
    name = forms.CharField(label="Name", help_text="As on the letter box")
    agreed = forms.BooleanField(label="Agreed", required=False)
    kind = forms.ChoiceField(label="Kind", choices=[("a", "A")], widget=forms.RadioSelect)


def rendered(source: str, query: str = "", **context: Any) -> str:
    request = RequestFactory().get(f"/list/?{query}")
    return Template("{% load wallday %}" + source).render(Context({"request": request, **context}))


def test_a_field_is_tied_to_label_help_and_error() -> None:
    """The control names its help and its error, and says that it is wrong."""
    html = rendered("{% field form.name inputmode='text' %}", form=Sample({}))
    assert '<label for="id_name">Name</label>' in html
    assert 'aria-describedby="id_name_help id_name_errors"' in html
    assert 'aria-invalid="true"' in html
    assert 'id="id_name_errors"' in html
    assert 'inputmode="text"' in html


def test_a_good_field_is_not_marked_wrong() -> None:
    """Without an error there is none to point to."""
    html = rendered("{% field form.name %}", form=Sample())
    assert "aria-invalid" not in html
    assert "_errors" not in html


def test_groups_and_checks_have_their_own_shape() -> None:
    """Radio buttons come in a fieldset with a legend; a tick box stands before its label."""
    assert "<legend>Kind</legend>" in rendered("{% field form.kind %}", form=Sample())
    check = rendered("{% field form.agreed %}", form=Sample())
    assert check.index("<input") < check.index("<label")


def test_form_errors_lead_to_their_fields() -> None:
    """The head of a refused form links to each wrong field; a good form shows nothing."""
    html = rendered("{% form_errors form %}", form=Sample({"agreed": "on"}))
    assert 'href="#id_name"' in html
    assert 'role="alert"' in html
    good = Sample({"name": "x", "kind": "a"})
    assert rendered("{% form_errors form %}", form=good).strip() == ""


def test_pager_keeps_the_rest_of_the_query() -> None:
    """A filter survives turning the page; special characters stay encoded."""
    page = Paginator(range(30), 10).page(2)
    html = rendered("{% pager page %}", query="q=a%26b&page=2", page=page)
    assert 'href="?q=a%26b&amp;page=1"' in html
    assert 'href="?q=a%26b&amp;page=3"' in html
    assert "Page 2 of 3" in html


def test_pager_of_one_page_is_nothing() -> None:
    """A short list needs no pager."""
    assert rendered("{% pager page %}", page=Paginator([1], 10).page(1)).strip() == ""


def test_captured_text_is_escaped_once() -> None:
    """A title with special characters appears twice, each time escaped just once."""
    html = rendered(
        "{% capture title %}{{ name }}{% endcapture %}<title>{{ title }}</title><h1>{{ title }}</h1>", name="A & <B>"
    )
    assert html == "<title>A &amp; &lt;B&gt;</title><h1>A &amp; &lt;B&gt;</h1>"


@pytest.mark.django_db
def test_money_and_phone_follow_the_firm() -> None:
    """Currency and country are the company's settings."""
    from shared.company.selectors import company_get

    company = company_get()
    company.currency, company.country = "GBP", "GB"
    company.save()
    assert rendered("{{ 1234|money }} {{ number|phone }}", number="+16145550123") == "£12.34 +1 614-555-0123"
    assert rendered("{{ 1234|money:'USD' }}") == "$12.34"


@pytest.mark.django_db
@pytest.mark.parametrize("unit", ["money", "hours", "miles", "percent", "plain"])
def test_chart_says_in_words_what_it_shows(unit: str) -> None:
    """Each layout has a title and a description with every label, figure and note; no style is inline."""
    rows = [{"label": "House <wash>", "value": 2, "low": 1, "high": 3, "note": "below target"}]
    html = rendered("{% interval_chart rows target=2.5 unit=unit title='Earned' %}", rows=rows, unit=unit)
    assert html.count('role="img"') == 2
    assert html.count("<title>Earned</title>") == 2
    assert "House &lt;wash&gt;" in html
    assert "below target" in html.split("<desc>")[1]
    assert "style=" not in html


@pytest.mark.django_db
def test_sketch_says_in_words_what_it_shows() -> None:
    """The order of stops is in the description; an empty day draws nothing."""
    stops = [{"latitude": 40.0, "longitude": -82.0, "title": "1 Elm"}, {"latitude": 40.1, "longitude": -82.0}]
    html = rendered(
        "{% route_sketch routes yard=yard %}", routes=[{"label": "North", "stops": stops}], yard=(40.0, -82.1)
    )
    assert "North: 1 1 Elm, 2." in html
    assert rendered("{% route_sketch routes %}", routes=[]).strip() == ""
