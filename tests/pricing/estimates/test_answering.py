"""Giving estimates out and answering them: once, by name, with what was seen kept byte for byte."""

import io
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from pypdf import PdfReader

from jobs.work.models import Job
from jobs.work.services import job_agree, job_decline
from pricing.catalogue.models import Rate
from pricing.estimates.errors import EstimateClosed, EstimateStale
from pricing.estimates.inputs import EstimateChange, LineChange
from pricing.estimates.links import sent_of
from pricing.estimates.models import Estimate, EstimateAnswer, EstimateMessage, SentEstimate
from pricing.estimates.selectors import newest_removal, sent_get
from pricing.estimates.services import (
    estimate_accept,
    estimate_change,
    estimate_decline,
    estimate_send,
    estimate_take_back,
    estimates_nudge,
    print_pdf,
)
from shared.errors import Refused
from shared.kept_files import FileChanged, digest_of
from shared.outbox.domain.sms import sms_count
from shared.outbox.models import Message
from shared.outbox.services import message_send_again, messages_dispatch
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT
TODAY = NOW.date()


def given(**over: Any) -> SentEstimate:
    """The newest sending of a fresh estimate."""
    return sent_get(pk=factories.make_estimate(**{"how": "paper", **over}).sendings.get().pk)


def accept(sent: SentEstimate, **over: Any) -> EstimateAnswer:
    fields = {"option": 2, "language": "en", "typed_name": "Ann Sample", "now": NOW, "today": TODAY, "by_link": True}
    return estimate_accept(sent=sent, **fields | over)


def decline(sent: SentEstimate, **over: Any) -> EstimateAnswer:
    fields = {"language": "en", "typed_name": "Ann Sample", "now": NOW, "today": TODAY, "by_link": True}
    return estimate_decline(sent=sent, **fields | over)


def job_of(sent: SentEstimate) -> Job:
    return Job.objects.get(pk=sent.estimate.job_ref)


def test_what_it_says_in_both_languages() -> None:
    """Options with prices, scope, that a wash does not remove chalk, cautions, last day; page and PDF alike."""
    sent = given(tax_millionths=72_500, place=factories.make_chalky_house(year_built=1960))
    english, spanish = sent.prints.get(language="en"), sent.prints.get(language="es")
    pages = PdfReader(io.BytesIO(print_pdf(english))).pages
    pdf = " ".join(" ".join(page.extract_text() for page in pages).split())
    for words in ("House wash", "Chalk removal: south wall", "$520.00", "Tax at 7.25%", "$557.70", "Wed, Jul 1, 2026",
                  "does not remove chalk", "keep children and pets inside", "lead-safe", "Sample Street"):  # fmt: skip
        assert words in english.html, words
        assert words in pdf, words
    for words in ("no quita la tiza", "Lavado de casa", "Impuesto", "7.25%"):
        assert words in spanish.html, words
    for words in ("wash", "chalk", "Total;", "estimate for"):
        assert words not in spanish.html, words
    assert [row["total"] for row in english.choices] == ["$557.70", "$2,236.16", "$2,429.21"]


def test_no_tax_is_assumed() -> None:
    """Without a rate the total says that no tax is included."""
    assert "no tax is included" in given().prints.get(language="en").html


def test_giving_it_out_makes_the_lead_estimated_with_the_first_option() -> None:
    sent = given()
    job = job_of(sent)
    assert (job.state, job.price_cents, [line.estimated_minutes for line in job.lines.all()]) == (
        "estimated", 520_00, [120],
    )  # fmt: skip


def test_yes_makes_the_job_agreed_with_the_options_lines() -> None:
    """Lines, walls, minutes, materials, prices and discount of the option; the answer holds text, digests and total."""
    estimate = factories.make_estimate()
    option = estimate.options.get(position=2)
    option.discount_cents = 35_00
    option.save()
    sent = sent_get(pk=factories.make_sent(estimate).pk)
    answer = accept(sent, typed_name="  Ann   Sample ", device="a phone")
    job = job_of(sent)
    wash, removal = job.lines.order_by("pk")
    assert (job.state, job.discount_cents, job.price_cents) == ("agreed", 35_00, 2050_00)
    assert (removal.estimated_minutes, removal.card_price_cents, removal.materials_cents) == (520, 1250_00, 60_03)
    assert [wall.name for wall in removal.walls.all()] == ["south wall"]
    assert (wash.price_cents, removal.price_cents) == (520_00, 1565_00)
    shown = sent.prints.get(language="en")
    assert (answer.typed_name, answer.total_cents, answer.option_position) == ("Ann Sample", 2050_00, 2)
    assert (answer.html_digest, answer.pdf_digest) == (digest_of(shown.html.encode()), digest_of(print_pdf(shown)))
    assert "$2,050.00 in all" in answer.statement
    assert Estimate.objects.get().state == "accepted"


def test_a_year_later_it_is_what_was_seen() -> None:
    """Byte for byte, page and PDF, although names, prices and the company moved on."""
    sent = given()
    row = sent.prints.get(language="es")
    seen, printed = row.html, print_pdf(row)
    accept(sent, language="es")
    factories.set_company(name="Another name", currency="EUR")
    Rate.objects.update(price_cents_per_100_units=1)
    estimate = Estimate.objects.get()
    estimate.lines.update(price_cents=1)
    again = sent_get(pk=sent.pk).estimate.answer.shown
    assert (again.html, print_pdf(again)) == (seen, printed)
    (Path(settings.MEDIA_ROOT) / row.pdf_file).write_bytes(b"%PDF other")
    with pytest.raises(FileChanged):
        print_pdf(row)


def test_no_makes_the_job_declined() -> None:
    """With a reason of theirs or without; the job's history has one either way."""
    sent, other = given(), given()
    assert decline(sent, reason="  too   dear ").reason == "too dear"
    assert decline(other).reason == ""
    assert (job_of(sent).state, job_of(other).state) == ("declined", "declined")


@pytest.mark.parametrize("second", [accept, decline])
@pytest.mark.parametrize("first", [accept, decline])
def test_only_once(first: Any, second: Any) -> None:
    """Whatever came first stays; the second is told so, and nothing changes."""
    sent = given()
    first(sent)
    state = job_of(sent).state
    with pytest.raises(EstimateClosed, match="answered already"):
        second(sent_get(pk=sent.pk), typed_name="Mallory")
    assert (EstimateAnswer.objects.get().typed_name, job_of(sent).state) == ("Ann Sample", state)


def test_after_its_last_day() -> None:
    """On the day itself it can still be accepted, on the next one no more."""
    sent = given()
    late = sent.valid_until + timedelta(days=1)
    for answer in (accept, decline):
        with pytest.raises(EstimateClosed, match="last day"):
            answer(sent, today=late)
    assert not EstimateAnswer.objects.exists()
    accept(sent, today=sent.valid_until)


def test_a_newer_version_closes_the_older_link() -> None:
    """Changed: closed for both until it is sent again; then only the new one is open."""
    sent = given()
    estimate = Estimate.objects.get()
    line = LineChange(estimate.lines.get(position=1).pk, price_cents=600_00)
    estimate_change(estimate=estimate, change=EstimateChange(lines=[line]), reason="more dirt", today=TODAY)
    with pytest.raises(EstimateClosed, match="changed this estimate"):
        accept(sent)
    newer = sent_get(pk=factories.make_sent(Estimate.objects.get()).pk)
    assert (newer.revision, sent.prints.get(language="en").html.count("$520.00") > 0) == (2, True)
    with pytest.raises(EstimateClosed, match="changed this estimate"):
        accept(sent_get(pk=sent.pk))
    assert accept(newer, option=1).total_cents == 600_00


def test_an_option_that_was_not_offered_and_no_name() -> None:
    sent = given()
    with pytest.raises(Refused, match="Choose one"):
        accept(sent, option=4)
    with pytest.raises(Refused, match="Type your name"):
        accept(sent, typed_name=" \n ")
    assert (job_of(sent).state, Estimate.objects.get().state) == ("estimated", "sent")


def test_a_job_that_went_another_way_refuses_and_takes_all_back() -> None:
    """The office agreed by telephone meanwhile: the homeowner is asked to call, and no answer is stored."""
    sent = given()
    job_agree(job=job_of(sent))
    with pytest.raises(EstimateClosed, match="call us"):
        accept(sent)
    assert not EstimateAnswer.objects.exists()
    assert (Estimate.objects.get().state, job_of(sent).price_cents) == ("sent", 520_00)


@pytest.mark.django_db(transaction=True)
def test_two_people_at_once() -> None:
    """Four answers at the same moment, each with its own connection: one is stored, three hear that it was answered."""
    sent, together = given(), threading.Barrier(4)

    def answer(number: int) -> str:
        try:
            mine = sent_get(pk=sent.pk)
            together.wait(10)
            (accept if number % 2 else decline)(mine, typed_name=f"Person {number}")
        except EstimateClosed:
            return "closed"
        finally:
            connection.close()
        return "stored"

    with ThreadPoolExecutor(4) as pool:
        results = sorted(pool.map(answer, range(4)))
    assert results == ["closed", "closed", "closed", "stored"]
    row = EstimateAnswer.objects.get()
    assert job_of(sent).state == ("agreed" if row.accepted else "declined")


def test_sent_twice_at_once_is_one_version() -> None:
    """Who saw the draft before it was sent is told to look again."""
    estimate = factories.make_estimate()
    seen = Estimate.objects.get(pk=estimate.pk)
    factories.make_sent(estimate)
    with pytest.raises(EstimateStale):
        estimate_send(estimate=seen, sent_how="paper", now=NOW, today=TODAY)
    assert SentEstimate.objects.count() == 1


# --- messages ---


def mail(estimate: Estimate, kind: str = "sent") -> Message:
    return EstimateMessage.objects.get(sent__estimate=estimate, kind=kind).message


def test_the_message_carries_the_link_in_the_customers_language() -> None:
    place = factories.make_chalky_house(customer=factories.make_customer(language="es"))
    estimate = factories.make_estimate(place=place, how="email")
    message = mail(estimate)
    token = message.body.partition("/estimate/")[2].partition("/")[0]
    assert sent_of(token) == estimate.sendings.get().pk
    assert (message.subject.startswith("Su presupuesto"), message.recipient) == (True, place.customer.email)
    assert message.not_after is not None


@pytest.mark.parametrize("purpose", ["service", "all"])
def test_who_opted_out_gets_none(purpose: str) -> None:
    """Refused when it is sent, and nothing is given out; dropped where the opt-out came before it left."""
    place = factories.make_chalky_house()
    estimate = factories.make_estimate(place=place)
    factories.make_consent(customer=place.customer, channel="email", purpose=purpose, given=False)
    with pytest.raises(Refused, match="does not want"):
        factories.make_sent(estimate, how="email")
    estimate.refresh_from_db()
    assert (estimate.state, SentEstimate.objects.count(), Message.objects.count()) == ("draft", 0, 0)
    other = factories.make_estimate(how="email")
    customer = Job.objects.get(pk=other.job_ref).property.customer
    factories.make_consent(customer=customer, channel="email", purpose=purpose, given=False)
    messages_dispatch(now=NOW)
    assert mail(other).state == "dropped"


def test_one_nudge_before_it_ends() -> None:
    """Three days before, once, by the way it was sent; not on paper, not when answered, not just after it was sent."""
    waiting = factories.make_estimate(how="email")
    answered = factories.make_estimate(how="email")
    on_paper = factories.make_estimate(how="paper")
    accept(sent_get(pk=answered.sendings.get().pk))
    late = NOW + timedelta(days=27)
    assert estimates_nudge(now=late - timedelta(days=1), today=late.date() - timedelta(days=1)) == 0
    assert [estimates_nudge(now=late, today=late.date()) for _ in range(2)] == [1, 0]
    message = mail(waiting, "expiring")
    assert ("ends on" in message.subject, message.quiet_zone != "") == (True, True)
    assert not EstimateMessage.objects.filter(kind="expiring", sent__estimate__in=[answered, on_paper]).exists()
    fresh = factories.make_estimate(how="email", now=late, valid_until=late.date() + timedelta(days=2))
    assert estimates_nudge(now=late, today=late.date()) == 0
    assert fresh.state == "sent"


def test_a_nudge_heeds_an_opt_out_of_reminders_and_an_answer() -> None:
    """Neither written after an opt-out, nor sent once there is an answer."""
    first, second = factories.make_estimate(how="email"), factories.make_estimate(how="email")
    customer = Job.objects.get(pk=first.job_ref).property.customer
    factories.make_consent(customer=customer, channel="email", purpose="reminder", given=False)
    late = NOW + timedelta(days=27, hours=4)
    assert estimates_nudge(now=late, today=late.date()) == 1
    decline(sent_get(pk=second.sendings.get().pk), now=late, today=late.date())
    messages_dispatch(now=late)
    assert mail(second, "expiring").state == "dropped"


@pytest.mark.parametrize("ending", ["taken back", "changed", "work declined"])
def test_a_nudge_stops_when_the_estimate_is_no_longer_open(ending: str) -> None:
    """Written when it was still open, and held by the night: it does not go once there is nothing to accept."""
    estimate = factories.make_estimate(how="email")
    late = NOW + timedelta(days=27)
    assert estimates_nudge(now=late, today=late.date()) == 1
    estimate.refresh_from_db()
    if ending == "taken back":
        estimate_take_back(estimate=estimate, reason="too low", expected_version=estimate.version)
    elif ending == "changed":
        change = EstimateChange(lines=[LineChange(line_id=estimate.lines.all()[0].pk, price_cents=12_300)])
        estimate_change(
            estimate=estimate, change=change, reason="a second look", today=TODAY, expected_version=estimate.version
        )
    else:
        job_decline(job=Job.objects.get(pk=estimate.job_ref), reason="moved away")
    messages_dispatch(now=late + timedelta(hours=4))
    assert (mail(estimate, "expiring").state, mail(estimate, "expiring").problem != "") == ("dropped", True)
    assert estimates_nudge(now=late + timedelta(hours=5), today=late.date()) == 0


def test_an_expired_nudge_is_not_sent_again(office: Any) -> None:
    """What it says is over: the office is told so, and nothing waits."""
    estimate = factories.make_estimate(how="email")
    late = NOW + timedelta(days=27)
    estimates_nudge(now=late, today=late.date())
    after = late + timedelta(days=9)
    assert messages_dispatch(now=after).dropped == 2
    message = mail(estimate, "expiring")
    with pytest.raises(Refused, match="is over by now"):
        message_send_again(message_id=message.pk, reason="she asked", actor=office, now=after)
    message.refresh_from_db()
    assert message.state == "dropped"


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", ["sent", "expiring", "accepted"])
def test_no_text_about_an_estimate_is_longer_than_two_parts(kind: str, language: str, settings: Any) -> None:
    """Spanish too: our own words lose the accents that would make three parts of them."""
    settings.WALLDAY_SITE_URL = "https://wash.example.com"
    factories.set_company(name="Tallowick Exterior Washing Co")
    place = factories.make_chalky_house(customer=factories.make_customer(language=language))
    estimate = factories.make_estimate(place=place, how="text")
    if kind == "expiring":
        late = NOW + timedelta(days=27)
        assert estimates_nudge(now=late, today=late.date()) == 1
    elif kind == "accepted":
        accept(sent_get(pk=estimate.sendings.get().pk))
    count = sms_count(mail(estimate, kind).body)
    assert (count.encoding, count.parts <= 2) == ("GSM-7", True)


def test_quiet_hours_are_those_of_the_house() -> None:
    """The company sits in New York, the house in California: the text leaves when it is eight there."""
    factories.set_company(timezone="America/New_York")
    place = factories.make_chalky_house(latitude=37.77, longitude=-122.42)
    message = mail(factories.make_estimate(place=place, how="text"))
    assert message.quiet_zone == "America/Los_Angeles"


def test_what_was_agreed_is_confirmed() -> None:
    estimate = factories.make_estimate(how="email")
    accept(sent_get(pk=estimate.sendings.get().pk))
    assert "You accepted our estimate" in mail(estimate, "accepted").subject


def test_the_notice_takes_the_removals_price_from_the_open_estimate() -> None:
    """Where an estimate with removal waits for its answer, the notice names its price and its number."""
    place = factories.make_chalky_house()
    estimate = factories.make_estimate(place=place, how="paper")
    job = factories.make_job(property=place)
    html = factories.make_notice(job=job).prints.get(language="en").html
    option = newest_removal(property_ref=place.pk, today=TODAY)
    assert option is not None
    removal = sum(line.price_cents for line in option.lines.all() if line.service.removes_chalk)
    words = f"It would cost ${removal / 100:,.2f} before tax, by our estimate {estimate.pk}"
    assert words in html
