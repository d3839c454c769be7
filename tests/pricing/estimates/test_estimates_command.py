"""`estimates send`: the same as the page's button, with the page's own words where it cannot go."""

import io
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command

from jobs.customers.models import Customer
from pricing.estimates.models import Estimate, SentEstimate
from pricing.estimates.services import estimate_take_back
from shared.outbox.models import Message
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT


@pytest.fixture(autouse=True)
def now() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def estimate() -> Estimate:
    place = factories.make_chalky_house()
    Customer.objects.update(email="ann@example.com", phone_e164="+15555550101")
    return factories.make_estimate(place=place)


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("estimates", *arguments, stdout=out)
    return out.getvalue()


def test_it_is_given_out(estimate: Estimate) -> None:
    """By email where nothing else is said; again makes the next version."""
    said = run("send", str(estimate.pk))
    sent = SentEstimate.objects.get()
    assert said == f"Estimate {estimate.pk} is given out by email, version 1, valid until {sent.valid_until}.\n"
    message = Message.objects.get()
    assert (message.recipient, message.channel) == ("ann@example.com", "email")
    again = json.loads(run("send", str(estimate.pk), "--channel", "text", "--json"))
    texted = Message.objects.get(channel="text")
    assert again == {
        "estimate": estimate.pk, "revision": 2, "how": "text", "valid_until": sent.valid_until.isoformat(),
        "messages": [texted.pk],
    }  # fmt: skip


def test_on_paper(estimate: Estimate) -> None:
    assert "on paper" in run("send", str(estimate.pk), "--channel", "paper")
    assert not Message.objects.exists()


def _without_address(estimate: Estimate) -> None:
    Customer.objects.update(email="")


def _opted_out(estimate: Estimate) -> None:
    factories.make_consent(customer=Customer.objects.get(), channel="email", purpose="all", given=False)


def _expired(estimate: Estimate) -> None:
    Estimate.objects.filter(pk=estimate.pk).update(valid_until=NOW.date() - timedelta(days=1))


def _taken_back(estimate: Estimate) -> None:
    estimate_take_back(estimate=estimate, reason="they moved")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (_without_address, "no such address"),
        (_opted_out, "does not want messages this way"),
        (_expired, "last day has passed"),
        (_taken_back, "is closed"),
    ],
)
def test_one_that_cannot_go(estimate: Estimate, wrong: Callable[[Estimate], None], words: str) -> None:
    wrong(estimate)
    with pytest.raises(CommandError, match=words):
        run("send", str(estimate.pk))
    assert (SentEstimate.objects.count(), Message.objects.count()) == (0, 0)


def test_one_that_was_answered() -> None:
    estimate = factories.make_estimate(sent=True)
    Estimate.objects.filter(pk=estimate.pk).update(state="accepted")
    with pytest.raises(CommandError, match="is closed"):
        run("send", str(estimate.pk))
    assert SentEstimate.objects.count() == 1


@pytest.mark.parametrize("arguments", [("999999",), ("x",), (), ("1", "--channel", "pigeon"), ("0",)])
def test_nothing_goes_with(arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        run("send", *arguments)
    assert not SentEstimate.objects.exists()
