"""A reminder by text costs one part, with names as long as those of the demo and a link as long as it gets."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.composing import Draft
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminder_preview
from shared.outbox.domain.sms import BASIC, in_cheap_letters, in_cheap_letters_around, sms_count
from tests import factories as make

TODAY = date(2026, 6, 1)
STREET = "1234 Whippoorwill Lane"


@pytest.fixture
def texted(settings: Any) -> Any:
    """A function that makes a property of somebody who agreed to texts."""
    settings.WALLDAY_SITE_URL = "https://wash.example.com"
    make.set_company(name="Tallowick Exterior Wash")

    def place(language: str) -> Any:
        customer = make.make_customer(email="", language=language)
        make.make_consent(customer=customer, channel="text", given=True)
        return make.make_property(customer=customer, street=STREET)

    return place


def only_draft() -> Draft:
    keys = [item.key for item in due_list(today=TODAY, lead_days=400)]
    (draft,) = reminder_preview(keys=keys, now=datetime(2026, 6, 1, 16, tzinfo=UTC)).drafts
    return draft


def interval(place: Any) -> None:
    make.make_interval(property=place, service=make.make_service(name="House wash", name_es="Lavado de casa"))


def two_intervals(place: Any) -> None:
    interval(place)
    make.make_interval(property=place, service=make.make_service(name="Gutter clearing", name_es="Canalones"))


def reading(place: Any) -> None:
    make.make_service(name="Chalk removal", name_es="Quitar la tiza", removes_chalk=True)
    wall = make.make_wall(property=place, name="Southwest wall", facing_degrees=225)
    make.make_reading(wall=wall, reading=2.5, read_on=date(2025, 9, 2))


def forecast(place: Any) -> None:
    make.make_service(name="Chalk removal", name_es="Quitar la tiza", removes_chalk=True)
    make.make_forecast(property=place)


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("why", [interval, two_intervals, reading, forecast])
def test_every_reason_fits_into_one_part(texted: Any, language: str, why: Any) -> None:
    """3GPP TS 23.038: 160 septets. Who writes, a number to call and the way out are there (47 CFR 64.1200(d)(4))."""
    why(texted(language))
    draft = only_draft()
    assert draft.sms is not None
    assert (draft.sms.encoding, draft.sms.parts) == ("GSM-7", 1), draft.body
    assert draft.findings == ()
    for part in ("Tallowick Exterior Wash: ", "(555) 555-0100", "stop: https" if language == "en" else "baja: https"):
        assert part in draft.body


@pytest.mark.django_db
def test_the_link_stays_short_for_years(texted: Any) -> None:
    """A company with a million customers, twenty years on."""
    from jobs.reminders.links import answer_link

    assert len(answer_link(1_000_000, TODAY + timedelta(days=7_300))) <= len("https://wash.example.com") + 25


@given(st.text(max_size=60))
def test_cheap_letters_never_cost_more(text: str) -> None:
    """What is in the alphabet stays; the rest only gets cheaper, and doing it again changes nothing."""
    cheap = in_cheap_letters(text)
    assert in_cheap_letters(cheap) == cheap
    assert len(sms_count(cheap).odd_ones) <= len(sms_count(text).odd_ones)
    assert [c for c in text if c in BASIC] == [c for c in text if in_cheap_letters(c) == c and c in BASIC]


@given(st.text(max_size=30), st.text(min_size=1, max_size=12), st.text(max_size=30))
def test_names_stay_as_they_are_written(before: str, name: str, after: str) -> None:
    """Wherever the name stands; around it the letters are cheap. Without names it is the same as for all the text."""
    text = before + name + after
    assert name in in_cheap_letters_around(text, kept=[name, ""])
    assert in_cheap_letters_around(text, kept=["", ""]) == in_cheap_letters(text)


@pytest.mark.parametrize(
    ("text", "cheap"),
    [
        ("Eliminación", "Eliminacion"),
        ("la pared «A»", 'la pared "A"'),
        ("niña, é", "niña, é"),
        ("ç…", "c..."),
        ("中", "中"),
    ],
)
def test_accents_and_quotes_become_plain(text: str, cheap: str) -> None:
    """GSM 03.38 has ñ, é and ü and lacks á, í, ó, ú and ç."""
    assert in_cheap_letters(text) == cheap
