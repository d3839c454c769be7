"""The pages: what the office sees and does, and what a homeowner's link opens, refuses and changes."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core import signing
from django.test import Client

from jobs.walkthroughs.links import notice_token
from jobs.work.models import Job
from pricing.estimates.inputs import EstimateChange, LineChange
from pricing.estimates.links import SALT, estimate_token
from pricing.estimates.models import Estimate, EstimateAnswer
from pricing.estimates.services import estimate_change
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT


@pytest.fixture(autouse=True)
def moment() -> Any:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def desk(client_of: Any, office: Any) -> Client:
    return client_of(office)


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def link(estimate: Estimate, language: str = "en") -> str:
    return f"/estimate/{estimate_token(estimate.sendings.first().pk)}/{language}/"


YES = {"option": "2", "typed_name": "Ann Sample"}
NO = {"declined_name": "Ann Sample", "reason": "too dear"}


def nothing_changed(estimate: Estimate, state: str = "sent") -> bool:
    fresh = Estimate.objects.get(pk=estimate.pk)
    job = Job.objects.get(pk=estimate.job_ref)
    return (fresh.state, fresh.version, job.state) == (state, estimate.version, "estimated") and not (
        EstimateAnswer.objects.filter(estimate=estimate).exists()
    )


# --- the office ---


def test_from_a_property_to_an_estimate(desk: Client) -> None:
    """The page suggests a wash, and removal of chalky walls and door separately; posting it makes lead and estimate."""
    factories.make_card()
    place = factories.make_chalky_house()
    address = f"/properties/{place.pk}/estimates/new/"
    page = desk.get(address)
    initial = [form.initial for form in page.context["lines"] if form.initial]
    assert [line["separately"] for line in initial] == [False, True, True]
    posted = {"lines-TOTAL_FORMS": "3", "lines-INITIAL_FORMS": "3", "tax_millionths": "8.875"}
    for number, line in enumerate(initial):
        posted |= {f"lines-{number}-service": str(line["service"]), f"lines-{number}-walls": line["walls"]}
        posted |= {f"lines-{number}-separately": "on"} if line["separately"] else {}
    answer = desk.post(address, posted)
    estimate = Estimate.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, f"/estimates/{estimate.pk}/")
    job = Job.objects.get(pk=estimate.job_ref)
    assert (job.state, job.property, estimate.tax_millionths, estimate.drive_basis) == (
        "lead", place, 88_750, "unknown",
    )  # fmt: skip
    page = text_of(desk.get(answer["Location"]))
    for words in (
        "Chalk removal: south wall",
        "Chalk removal: garage door",
        "Price that reaches the target",
        "8.875%",
        "Least acceptable price",
        "half within",
        "the card alone",
        "not known, counted as nothing",
    ):
        assert words in page, words


def test_what_is_wrong_keeps_what_was_typed(desk: Client) -> None:
    """A quantity that nobody knows, a service missing from the card: said on the form, nothing stored."""
    factories.make_card()
    place = factories.make_property()
    service = factories.make_service(name="Awning wash", unit="flat_sqft")
    posted = {"lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0", "lines-0-service": str(service.pk), "note": "Hi"}
    answer = desk.post(f"/properties/{place.pk}/estimates/new/", posted)
    assert (answer.status_code, "is not on the rate card" in text_of(answer), "Hi" in text_of(answer)) == (
        422, True, True,
    )  # fmt: skip
    nothing = desk.post(f"/properties/{place.pk}/estimates/new/", posted | {"lines-0-service": ""})
    assert (nothing.status_code, "Say which services" in text_of(nothing)) == (422, True)
    assert not Estimate.objects.exists()
    assert not Job.objects.exists()


def test_from_a_lead_and_for_work_found_later(desk: Client) -> None:
    """A lead keeps its job; what is found on a planned job becomes a lead of its own."""
    factories.make_card()
    place = factories.make_chalky_house()
    lead = factories.make_job(property=place, state="lead", lines=[{"service": factories._service("deck_wash")}])
    later = factories.make_job(property=place, state="planned", lines=[{"service": factories._service("house_wash")}])
    first = desk.get(f"/jobs/{lead.pk}/estimates/new/").context["lines"][0]
    assert first.initial["service"] == factories._service("deck_wash").pk
    posted = {"lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0"}
    posted |= {"lines-0-service": str(factories._service("deck_wash").pk), "lines-0-quantity": "300"}
    for job in (lead, later):
        assert desk.post(f"/jobs/{job.pk}/estimates/new/", posted).status_code == 302
    second, first = Estimate.objects.all()
    assert first.job_ref == lead.pk
    made = Job.objects.get(pk=second.job_ref)
    assert (made.state, made.source) == ("lead", f"found on job {later.pk}")
    assert "Make an estimate" in text_of(desk.get(f"/jobs/{later.pk}/"))


def test_change_send_tell_and_take_back(desk: Client) -> None:
    """The forms of the page do what they say, and the history names each with its reason."""
    estimate = factories.make_estimate()
    address = f"/estimates/{estimate.pk}/"
    page = desk.get(address)
    posted = {"change-version": "1", "change-drive_minutes": "25", "change-valid_until": "2026-06-20",
              "change-tax_millionths": "", "change-note": "", "change-reason": "farther out"}  # fmt: skip
    for forms, prefix in ((page.context["line_forms"], "lines"), (page.context["option_forms"], "options")):
        posted |= {f"{prefix}-TOTAL_FORMS": str(len(forms)), f"{prefix}-INITIAL_FORMS": str(len(forms))}
        posted |= {f"{prefix}-{k}-{name}": form[name].value() for k, form in enumerate(forms) for name in form.fields}
    posted |= {"options-2-discount_cents": "15.00"}
    assert desk.post(f"{address}change/", posted | {"change-reason": ""}).status_code == 422
    assert desk.post(f"{address}change/", posted).status_code == 302
    assert desk.post(f"{address}change/", posted).status_code == 422  # the version that was seen is an old one
    assert desk.post(f"{address}send/", {"version": "2", "sent_how": "paper"}).status_code == 302
    assert desk.get(f"{address}sent/1/es/").status_code == 200
    assert desk.get(f"{address}sent/1/es.pdf").content.startswith(b"%PDF")
    assert desk.get(f"{address}sent/2/es/").status_code == 404
    desk.post(f"{address}told/", {"told-answer": "3", "told-typed_name": "Ann Sample"})
    answer = EstimateAnswer.objects.get()
    assert (answer.by_link, answer.option_position, answer.recorded_by.username) == (False, 3, "office")
    page = text_of(desk.get(address))
    for words in (
        "told to the office",
        "farther out",
        "drive minutes: 20 → 25",
        "option 3 discount: $0.00 → $15.00",
        "chosen",
    ):
        assert words in page, words
    other = factories.make_estimate(sent=True)
    desk.post(f"/estimates/{other.pk}/take-back/", {"back-version": str(other.version), "back-reason": "a mistake"})
    other.refresh_from_db()
    assert other.state == "taken_back"


def test_the_list_by_state_and_words(desk: Client, moment: Any, assert_query_count: Any) -> None:
    """Ending soon and ended are told from those that wait; the number of queries does not grow."""
    soon = factories.make_estimate(sent=True, valid_until=NOW.date() + timedelta(days=4))
    factories.make_estimate(sent=True)
    factories.make_estimate()

    def shown(**query: str) -> list[int]:
        return [row["estimate"].pk for row in desk.get("/estimates/", query).context["rows"]]

    with assert_query_count("estimates"):
        assert len(shown()) == 3
    assert shown(state="ending") == [soon.pk]
    assert shown(state="over") == []
    assert shown(words=soon.customer_name) == [soon.pk]
    moment.shift(timedelta(days=5))
    assert (shown(state="ending"), shown(state="over")) == ([], [soon.pk])
    assert "ended without an answer" in text_of(desk.get("/estimates/"))


def test_crews_see_no_estimates(client_of: Any, crew_lead: Any) -> None:
    estimate = factories.make_estimate(sent=True)
    for path in ("/estimates/", f"/estimates/{estimate.pk}/", f"/estimates/{estimate.pk}/sent/1/en/"):
        assert client_of(crew_lead).get(path).status_code == 403


# --- the homeowner's link ---


def test_looking_changes_nothing_and_yes_is_yes() -> None:
    """Page, other language and PDF open without an account and write nothing; the name accepts, and then stands."""
    estimate = factories.make_estimate(sent=True)
    client, address, events = Client(), link(estimate), Event.objects.count()
    opened = client.get(address.removesuffix("en/"), follow=True)
    assert (opened.status_code, "I accept" in text_of(opened)) == (200, True)
    assert "Acepto" in text_of(client.get(link(estimate, "es")))
    assert client.get(f"{address}estimate.pdf").content.startswith(b"%PDF")
    assert client.get(f"{address}decline/").status_code == 405
    assert (nothing_changed(estimate), Event.objects.count()) == (True, events)
    assert client.post(address, {"option": "2", "typed_name": " "}).status_code == 422
    assert client.post(address, {"option": "9", "typed_name": "Ann"}).status_code == 422
    assert nothing_changed(estimate)
    answer = client.post(address, YES, headers={"User-Agent": "a phone"})
    assert answer.status_code == 302
    row = EstimateAnswer.objects.get()
    assert (row.typed_name, row.by_link, row.device, row.at) == ("Ann Sample", True, "a phone", NOW)
    page = text_of(client.get(address))
    assert ("You accepted this estimate" in page, "I accept</button>" in page) == (True, False)
    assert Job.objects.get(pk=estimate.job_ref).state == "agreed"


def test_what_was_accepted_is_still_shown_a_year_later(moment: Any) -> None:
    estimate = factories.make_estimate(sent=True)
    Client().post(link(estimate), YES)
    token = link(estimate)
    moment.shift(timedelta(days=360))
    assert "You accepted this estimate" in text_of(Client().get(token))


def test_used_twice_and_by_two_people() -> None:
    """The second is told so with 409, whatever the answer; the first one's name stays."""
    estimate = factories.make_estimate(sent=True)
    first, second, address = Client(), Client(), link(estimate)
    for client in (first, second):
        client.get(address)
    first.post(address, YES)
    for path, posted in ((address, YES | {"typed_name": "Bob"}), (f"{address}decline/", NO)):
        again = second.post(path, posted)
        assert (again.status_code, "answered already. Nothing was changed" in text_of(again)) == (409, True)
    assert EstimateAnswer.objects.get().typed_name == "Ann Sample"


def test_declined_through_the_link() -> None:
    estimate = factories.make_estimate(sent=True)
    assert Client().post(f"{link(estimate)}decline/", NO).status_code == 302
    row = EstimateAnswer.objects.get()
    assert (row.accepted, row.reason, Job.objects.get(pk=estimate.job_ref).state) == (False, "too dear", "declined")
    assert "You declined this estimate" in text_of(Client().get(link(estimate)))


def test_guessed_and_altered() -> None:
    """Any changed letter, a token for another kind of page, numbers, nothing: refused, nothing changed."""
    estimate = factories.make_estimate(sent=True)
    sent_id = estimate.sendings.get().pk
    token = estimate_token(sent_id)
    guesses = [
        token[:-1] + ("A" if token[-1] != "A" else "B"), "x" + token[1:], token + "A", str(sent_id), "A",
        token.split(":")[0], notice_token(sent_id), signing.dumps(sent_id, salt=f"{SALT}.other"),
        signing.dumps(sent_id, key="another key", salt=SALT),
    ]  # fmt: skip
    for guess in guesses:
        for path, posted in ((f"/estimate/{guess}/en/", YES), (f"/estimate/{guess}/en/decline/", NO)):
            answer = Client().post(path, posted)
            assert (answer.status_code, "link is not complete" in text_of(answer)) == (404, True), guess
        for path in ("", "en/", "es/", "en/estimate.pdf"):
            assert Client().get(f"/estimate/{guess}/{path}").status_code == 404, guess
    assert nothing_changed(estimate)
    assert Client().post(f"/estimate/{token}/fr/", YES).status_code == 404
    nobody = Client().post(f"/estimate/{estimate_token(sent_id + 99)}/en/", YES)
    assert (nobody.status_code, nothing_changed(estimate)) == (404, True)


@pytest.mark.parametrize(
    ("later", "words", "status"),
    [
        (timedelta(days=31), "last day of this estimate has passed", 409),
        (timedelta(days=401), "time of this link", 404),
    ],
)
def test_expired(moment: Any, later: timedelta, words: str, status: int) -> None:
    """The day after its last one nothing opens and nothing is accepted; the link itself ends later."""
    estimate = factories.make_estimate(sent=True)
    address = link(estimate)
    moment.shift(later)
    for answer in (
        Client().get(address), Client().get(f"{address}estimate.pdf"), Client().post(address, YES),
        Client().post(f"{address}decline/", NO),
    ):  # fmt: skip
        assert (answer.status_code, words in text_of(answer)) == (status, True)
    assert nothing_changed(estimate)


def test_taken_back_or_changed(desk: Client) -> None:
    """The old link says that there is something newer, and the older version's text is shown no more."""
    estimate = factories.make_estimate(sent=True)
    old = link(estimate)
    factories.make_sent(estimate)
    answer = Client().get(old)
    assert (answer.status_code, "changed this estimate or taken it back" in text_of(answer)) == (409, True)
    assert Client().post(old, YES).status_code == 409
    assert nothing_changed(estimate)
    assert Client().get(link(estimate)).status_code == 200


def test_a_print_that_was_altered_in_the_store_is_not_handed_out() -> None:
    """The file differs from its digest: a fault of ours, and nothing of it is shown."""
    estimate = factories.make_estimate(sent=True)
    row = estimate.sendings.get().prints.get(language="en")
    (Path(settings.MEDIA_ROOT) / row.pdf_file).write_bytes(b"%PDF a lower price")
    answer = Client(raise_request_exception=False).get(f"{link(estimate)}estimate.pdf")
    assert (answer.status_code, b"a lower price" in answer.content) == (500, False)
    assert nothing_changed(estimate)


def test_a_yes_to_what_the_office_changed_meanwhile(desk: Client) -> None:
    """The page lay open; a price was altered before the button was pressed, sent again or not."""
    estimate = factories.make_estimate(sent=True)
    homeowner, address = Client(), link(estimate)
    assert homeowner.get(address).status_code == 200
    line = LineChange(estimate.lines.get(position=1).pk, price_cents=600_00)
    estimate_change(
        estimate=Estimate.objects.get(), change=EstimateChange(lines=[line]), reason="more dirt", today=NOW.date()
    )
    for _again in range(2):
        for path, posted in ((address, YES), (f"{address}decline/", NO)):
            answer = homeowner.post(path, posted)
            assert (answer.status_code, "changed this estimate" in text_of(answer)) == (409, True)
        assert not EstimateAnswer.objects.exists()
        assert Job.objects.get(pk=estimate.job_ref).state == "estimated"
        factories.make_sent(Estimate.objects.get())


def test_other_sites_cannot_accept() -> None:
    """The forms carry a token of their own."""
    estimate = factories.make_estimate(sent=True)
    client = Client(enforce_csrf_checks=True)
    assert client.post(link(estimate), YES).status_code == 400
    assert nothing_changed(estimate)


def test_what_people_typed_is_no_markup(desk: Client) -> None:
    """Neither HTML nor typst reads names, notes and reasons."""
    place = factories.make_chalky_house(customer=factories.make_customer(name='<b>x</b> #panic("x") $a$'))
    estimate = factories.make_estimate(place=place, sent=True)
    page = text_of(Client().get(link(estimate)))
    assert ("<b>x</b>" in page, "&lt;b&gt;x" in page) == (False, True)
    Client().post(f"{link(estimate)}decline/", NO | {"reason": "<script>alert(1)</script>"})
    assert "<script>alert" not in text_of(desk.get(f"/estimates/{estimate.pk}/"))
