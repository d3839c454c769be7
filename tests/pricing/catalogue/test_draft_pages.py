"""The pages on which the next rate card is written, and the words in which it speaks of its changes."""

import io

import pytest
import time_machine
from django.core.management import call_command
from hypothesis import given
from hypothesis import strategies as st

from pricing.catalogue.domain.card_rows import LEVELS, key_of
from pricing.catalogue.domain.factor_rules import rows_of_rules, rules_of
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, draft_card
from pricing.catalogue.services import draft_begin, draft_set
from pricing.catalogue.wording import CardTongue, changes_words
from pricing.estimates.selectors import estimate_get
from tests import factories

TODAY = factories.MOMENT.date()
SERVICES = ["deck", "roof", "wash"]
PLACES = [(kind, level) for kind, levels in LEVELS.items() for level in levels] + [("material", "vinyl")]
PARTS = ["services", "factors", "materials", "surcharges"]


@given(
    st.dictionaries(
        st.tuples(st.sampled_from(PLACES), st.sampled_from(SERVICES)), st.sampled_from([90, 120]), max_size=9
    )
)
def test_rules_say_what_the_rows_say(found) -> None:
    """Whatever factors there are: rules and back are the same rows, never more of them."""
    rows = [
        {"part": "factor", "service": service, "kind": kind, "level": level, "percent": percent}
        for ((kind, level), service), percent in found.items()
    ]
    rules = rules_of(rows, SERVICES)
    again = [row for _number, row in rows_of_rules(rules, SERVICES)]
    assert {key_of(row): row for row in again} == {key_of(row): row for row in rows}
    assert len(again) == len(rows) >= len(rules)


TONGUE = CardTongue({"wash": "House wash", "roof": "Roof wash"}, {"wash": "wall_sqft", "roof": "flat_sqft"}, "USD")
RATE = {
    "part": "rate", "service": "wash", "price_cents_per_100_units": 26_00, "minimum_price_cents": 250_00,
    "materials_cents_per_100_units": 20, "setup_minutes": 20, "units_per_crew_hour": 1600,
    "units_per_crew_hour_high": 1200,
}  # fmt: skip
ROWS = [
    RATE,
    {**RATE, "service": "roof"},
    {"part": "factor", "service": "wash", "kind": "storeys", "level": "3", "percent": 125},
    {"part": "factor", "service": "roof", "kind": "storeys", "level": "3", "percent": 125},
    {"part": "material", "name": "Soap", "cost_cents_per_gallon": 4_00},
    {"part": "use", "service": "wash", "name": "Soap", "volume_ml_per_100_units": 700},
    {"part": "surcharge", "name": "Far", "service": "", "kind": "fixed", "figure": 25_00, "when": "driving",
     "level": "20"},
]  # fmt: skip
BEFORE = {key_of(row): row for row in ROWS}


def changed(number, **over):
    row = {**ROWS[number], **over}
    return {**BEFORE, key_of(row): row}


@pytest.mark.parametrize(
    ("after", "words"),
    [
        (BEFORE, []),
        (changed(0, price_cents_per_100_units=27_00), ["House wash, price per 100 sq ft of wall: $26.00 → $27.00"]),
        (changed(0, setup_minutes=25), ["House wash, set-up: 20 min → 25 min"]),
        (changed(2, percent=130), ["3 storeys, House wash: 130 % of the usual minutes, until now 125 %"]),
        ({**changed(2, percent=130), key_of(ROWS[3]): {**ROWS[3], "percent": 130}},
         ["3 storeys, every service: 130 % of the usual minutes, until now 125 %"]),
        (changed(2, kind="access", level="tight"), ["New: tight access, House wash: 125 % of the usual minutes"]),
        ({key: row for key, row in BEFORE.items() if row["part"] != "surcharge"},
         ["No longer: surcharge Far, $25.00, every service, from 20 min of driving on"]),
        (changed(6, kind="percent", figure=10, when="material", level="painted_wood", service="wash"),
         ["surcharge Far, $25.00, every service, from 20 min of driving on → "
          "surcharge Far, 10 % of the card's price, House wash, on painted wood"]),
        (changed(5, volume_ml_per_100_units=1000),
         ["House wash, Soap, taken per 100 sq ft of wall: 24 fl oz → 0.26 gal"]),
        (changed(4, name="Wax"), ["New: Wax, cost a gallon $4.00"]),
    ],
)  # fmt: skip
def test_changes_in_the_owners_words(after, words) -> None:
    """Names, dollars and units; no code and no column's name."""
    assert changes_words(BEFORE, after, TONGUE) == words


@pytest.fixture
def draft(db):
    with time_machine.travel(factories.MOMENT, tick=False):
        factories.make_card()
        yield draft_begin(today=TODAY)


def posted(client, part, **over):
    """What a browser would post of the page as it is shown, with other figures."""
    page = client.get(f"/rates/draft/{part}/")
    data = {"version": page.context["draft"].version}
    for each in page.context["sets"]:
        for form in [each.forms.management_form, *each.forms]:
            for bound in (form[name] for name in form.fields):
                value = bound.form.fields[bound.name].prepare_value(bound.value())
                if value is not None and value is not False:
                    data[bound.html_name] = value
    return client.post(f"/rates/draft/{part}/", {**data, **over})


def number_of(client, part, legend, which=0):
    """The place of a row on its page."""
    forms = client.get(f"/rates/draft/{part}/").context["sets"][which].forms
    return next(place for place, form in enumerate(forms) if form.legend == legend)


@pytest.mark.parametrize("part", PARTS)
def test_saved_as_shown_it_changes_nothing(draft, client_of, owner, office, part) -> None:
    """Each page's own figures, posted back: the same card. It is the owner's."""
    before = card_content(card=draft)
    assert posted(client_of(owner), part).status_code == 302
    assert (card_content(card=draft_card()), draft_card().version) == (before, draft.version)
    assert client_of(office).get(f"/rates/draft/{part}/").status_code == 403


def test_figures_of_a_service(draft, client_of, owner) -> None:
    """A wrong figure is said by its field, with what else was typed; the right one is saved and said in words."""
    client = client_of(owner)
    row = f"rates-{number_of(client, 'services', 'House wash')}"
    over = {f"{row}-minimum_price_cents": "much", f"{row}-setup_minutes": "33"}
    wrong = posted(client, "services", **over)
    page = wrong.content.decode()
    assert (wrong.status_code, "Enter a number." in page, 'value="33"' in page) == (422, True, True)
    assert draft_card().version == draft.version
    posted(client, "services", **{f"{row}-minimum_price_cents": "275"})
    assert "House wash, least charge: $250.00 → $275.00" in client.get("/rates/draft/").content.decode()


def test_a_service_is_taken_off_and_added(draft, client_of, owner) -> None:
    """It goes with its factors and uses, and comes back as a new row."""
    client = client_of(owner)
    row = number_of(client, "services", "House wash")
    assert posted(client, "services", **{f"rates-{row}-DELETE": "on"}).status_code == 302
    assert not [key for key in card_content(card=draft_card()) if "house_wash" in key]
    new = f"rates-{number_of(client, 'services', 'One more service')}"
    figures = {
        "service": "house_wash", "price_cents_per_100_units": "27", "minimum_price_cents": "250", "setup_minutes": "20",
        "materials_cents_per_100_units": "0.2", "units_per_crew_hour": "1600", "units_per_crew_hour_high": "1200",
    }  # fmt: skip
    assert posted(client, "services", **{f"{new}-{name}": value for name, value in figures.items()}).status_code == 302
    assert card_content(card=draft_card())["rate", "house_wash"]["price_cents_per_100_units"] == 27_00


def test_factors_for_every_service_and_for_one(draft, client_of, owner) -> None:
    """One row changes every service; an exception counts before it; the same level twice is refused in words."""
    client = client_of(owner)
    row = f"factors-{number_of(client, 'factors', '3 storeys')}"
    new = f"factors-{number_of(client, 'factors', 'One more')}"
    exception = {f"{new}-on": "storeys|3", f"{new}-percent": "160", f"{new}-service": "roof_wash"}
    assert posted(client, "factors", **{f"{row}-percent": "130"}, **exception).status_code == 302
    content = card_content(card=draft_card())
    assert [content["factor", code, "storeys", "3"]["percent"] for code in ("house_wash", "roof_wash")] == [130, 160]
    new = f"factors-{number_of(client, 'factors', 'One more')}"
    twice = posted(client, "factors", **{f"{new}-on": "storeys|4", f"{new}-percent": "140"})
    assert (twice.status_code, "Another row says this already." in twice.content.decode()) == (422, True)
    high = posted(client, "factors", **{f"{row}-percent": "1001"})
    assert (high.status_code, "less than or equal to 1000" in high.content.decode()) == (422, True)
    row = number_of(client, "factors", "4 storeys")
    posted(client, "factors", **{f"factors-{row}-DELETE": "on"})
    assert not [key for key in card_content(card=draft_card()) if key[2:] == ("storeys", "4")]


def test_materials_keep_their_uses_under_another_name(draft, client_of, owner) -> None:
    """Renamed, the uses follow; removed, they go too; fluid ounces are stored as millilitres."""
    client = client_of(owner)
    row = f"materials-{number_of(client, 'materials', 'Surfactant')}"
    assert (
        posted(client, "materials", **{f"{row}-name": "Soap", f"{row}-cost_cents_per_gallon": "20"}).status_code == 302
    )
    assert card_content(card=draft_card())["use", "house_wash", "Soap"]["volume_ml_per_100_units"] == 40
    use = f"uses-{number_of(client, 'materials', 'One more use', 1)}"
    more = {f"{use}-service": "deck_wash", f"{use}-name": "Soap", f"{use}-volume_ml_per_100_units": "2"}
    assert posted(client, "materials", **more).status_code == 302
    assert card_content(card=draft_card())["use", "deck_wash", "Soap"]["volume_ml_per_100_units"] == 59
    row = f"materials-{number_of(client, 'materials', 'Soap')}"
    assert posted(client, "materials", **{f"{row}-DELETE": "on"}).status_code == 302
    assert not [key for key in card_content(card=draft_card()) if "Soap" in key]


def surcharge(**over):
    values = {
        "name": "Far out",
        "figure": "25",
        "kind": "fixed",
        "on": "driving|",
        "minutes": "20",
        "service": "",
        **over,
    }
    return {f"surcharges-0-{name}": value for name, value in values.items()}


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"minutes": ""}, "from how many minutes"),
        ({"on": "storeys|3"}, "it counts for driving alone"),
        ({"kind": "percent", "figure": "12.5"}, "A percentage is whole"),
        ({"kind": "percent", "figure": "2000"}, "A percentage is whole and at most 1000"),
        ({"figure": ""}, "required"),
        ({"kind": ""}, "required"),
        ({"name": " "}, "required"),
        ({"service": "no_such"}, "not one of the available choices"),
    ],
)
def test_what_is_wrong_with_a_surcharge(draft, client_of, owner, over, words) -> None:
    """Said by its field; the name that was typed is still there."""
    answer = posted(client_of(owner), "surcharges", **surcharge(**over))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "name" in over or 'value="Far out"' in answer.content.decode()
    assert draft_card().version == draft.version


def test_surcharges_come_change_and_go(draft, client_of, owner) -> None:
    """Added, changed to a percentage, removed."""
    client = client_of(owner)
    posted(client, "surcharges", **surcharge())
    row = card_content(card=draft_card())["surcharge", "Far out"]
    assert (row["kind"], row["figure"], row["when"], row["level"]) == ("fixed", 25_00, "driving", "20")
    posted(
        client, "surcharges", **surcharge(kind="percent", figure="15", on="storeys|3", minutes="", service="roof_wash")
    )
    row = card_content(card=draft_card())["surcharge", "Far out"]
    assert (row["kind"], row["figure"], row["when"], row["level"]) == ("percent", 15, "storeys", "3")
    posted(client, "surcharges", **{"surcharges-0-DELETE": "on"})
    assert ("surcharge", "Far out") not in card_content(card=draft_card())


def test_changed_by_somebody_else_meanwhile(draft, client_of, owner) -> None:
    """What was typed comes back with the reason, and is not saved."""
    client = client_of(owner)
    answer = posted(client, "surcharges", **surcharge(), version="77")
    assert (answer.status_code, "changed meanwhile" in answer.content.decode()) == (412, True)
    assert 'value="Far out"' in answer.content.decode()
    assert client.get("/rates/draft/nonsense/").status_code == 404
    RateCard.objects.filter(is_draft=True).delete()
    assert client.get("/rates/draft/surcharges/").status_code == 404


def test_the_preview_in_words(draft, client_of, owner) -> None:
    """Nothing changed: said. A dearer wash: what the waiting estimate and the year's work would be asked more."""
    client, estimate = client_of(owner), estimate_get(pk=factories.make_estimate().pk)
    service = estimate.lines.first().service
    visit = factories.make_visit_of(service, factories.make_property(), TODAY)
    visit.job.lines.update(quantity=1000)
    page = client.get("/rates/draft/").content.decode()
    assert "None of the 1 that wait would be priced otherwise." in page
    assert "The card would have asked the same for all of it." in page
    content = card_content(card=draft)
    key = ("rate", service.code)
    dearer = {**content, key: {**content[key], "price_cents_per_100_units": 52_00}}
    draft_set(draft=draft, content=dearer, expected_version=draft.version)
    page = client.get("/rates/draft/").content.decode()
    assert "1 of the 1 that wait would be priced otherwise: +$520.00 (+" in page
    assert "+$260.00 (+100%) for the year" in page
    out = io.StringIO()
    call_command("rate_card", "preview", stdout=out)
    assert "House wash, jobs 1: +$260.00 (+100%)" in out.getvalue()
    assert "1 of the 1 that wait" in out.getvalue()
    assert client.get("/api/rate-card/draft/past-year/").json() == [
        {"service": service.code, "jobs": 1, "before_cents": 260_00, "after_cents": 520_00}
    ]
