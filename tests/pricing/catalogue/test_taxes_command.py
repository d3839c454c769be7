"""`manage.py taxes`: listed and entered on the terminal, with a dry run."""

import io
import json

import pytest
import time_machine
from django.core.management import CommandError, call_command

from pricing.catalogue.models import TaxRate
from shared.events.models import Event

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel("2026-06-15T16:00:00Z", tick=False):
        yield


def taxes(*arguments: str) -> str:
    out = io.StringIO()
    call_command("taxes", *arguments, stdout=out)
    return out.getvalue()


def test_none_is_assumed() -> None:
    """Without one it says so, and in JSON the sum is null."""
    assert "No tax on today" in taxes()
    assert json.loads(taxes("list", "--json")) == {"today_millionths": None, "taxes": []}


def test_a_dry_run_stores_nothing() -> None:
    """It says what the day would come to; neither tax nor event is kept."""
    words = taxes("add", "Sales tax", "7.25", "--dry-run")
    assert words == "It would be 7.25% Sales tax from 2026-06-15 on. All together on 2026-06-15: 7.25%.\n"
    assert not TaxRate.objects.exists()
    assert not Event.objects.filter(kind="tax.set").exists()


def test_added_and_listed() -> None:
    """Two taxes of a day add up; the answer in JSON has both."""
    taxes("add", "Sales tax", "7.25")
    found = json.loads(taxes("add", "County", "0.5", "--from", "2026-07-01", "--json"))
    assert found == {
        "dry_run": False,
        "tax": {"name": "County", "effective_from": "2026-07-01", "rate_millionths": 5_000},
        "that_day_millionths": 77_500,
    }
    assert taxes().splitlines() == [
        "2026-07-01  County: 0.5%",
        "2026-06-15  Sales tax: 7.25%",
        "All together on today: 7.25%.",
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["Sales tax", "much"], "in percent"),
        (["Sales tax", "100"], "less than 100"),
        (["Sales tax", "7.123456"], "four places"),
        (["Sales tax", "NaN"], "less than 100"),
        (["Sales tax"], "in percent"),
        ([" ", "7"], "Name the tax"),
        (["Sales tax", "7", "--from", "soon"], "2026-03-01"),
        (["Sales tax", "7", "--from", "2026-06-14"], "today or later"),
    ],
)
def test_what_is_wrong_is_said(arguments: list[str], words: str) -> None:
    """In one sentence, and nothing is stored."""
    with pytest.raises(CommandError, match=words):
        taxes("add", *arguments)
    assert not TaxRate.objects.exists()
