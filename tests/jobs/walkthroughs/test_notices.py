"""Condition notices: what they say, who acknowledged what, and that it stays as it was seen."""

import io
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from pypdf import PdfReader

from jobs.walkthroughs.errors import NoticeClosed
from jobs.walkthroughs.inputs import FindingInput, LeftOutInput
from jobs.walkthroughs.links import notice_token
from jobs.walkthroughs.models import Acknowledgement, NobodyHome, Notice
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.services import notice_acknowledge, notice_make, notice_send, photo_add, print_pdf, record_read
from shared.errors import Refused
from shared.kept_files import FileChanged, digest_of
from shared.outbox.domain.sms import sms_count
from shared.outbox.models import Message
from shared.outbox.services import messages_dispatch
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT


@pytest.fixture(autouse=True)
def moment() -> Any:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def with_picture(**over: Any) -> Notice:
    walkthrough = factories.make_walkthrough(**over)
    wall = walkthrough.wall_findings.get().wall_id
    photo_add(walkthrough=walkthrough, key=uuid4(), data=factories.make_picture(), now=NOW, wall_id=wall)
    return factories.make_notice(walkthrough=walkthrough)


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def test_what_it_says_in_both_languages() -> None:
    """What and where, that a wash does not remove chalk, what touching shows, what removal means; page and PDF."""
    place = factories.make_property(street="14 Elm Street")
    factories.make_wall(property=place, name="north wall")
    job = factories.make_job(property=place)
    south = factories.make_wall(property=place, name="south wall").pk
    findings = (FindingInput(kind="open_window", note="kitchen"), FindingInput(kind="loose_paint", wall_id=south))
    left_out = (LeftOutInput("no_access", wall_id=south),)
    notice = with_picture(job=job, findings=findings, left_out=left_out)
    english, spanish = notice.prints.get(language="en"), notice.prints.get(language="es")
    pdf = " ".join(PdfReader(io.BytesIO(print_pdf(english))).pages[0].extract_text().split())
    for words in ("north wall: chalk 3 of 5", "window that does not shut, kitchen", "Picture 1: north wall",
                  "south wall: chalk not tested, cannot be reached", "south wall: loose paint", "14 Elm Street",
                  "A normal wash does not remove chalk", "off on the finger", "send you an estimate"):  # fmt: skip
        assert words in english.html, words
        assert words in pdf, words
    assert len(PdfReader(io.BytesIO(print_pdf(english))).pages[0].images) == 1
    for words in ("Un lavado normal no quita la tiza", "ventana que no cierra", "Foto 1: pared norte",
                  "pared sur: sin prueba de tiza, no se puede llegar", "pared sur: pintura suelta"):  # fmt: skip
        assert words in spanish.html, words
    for words in ("chalk ", "wash", "Pictures", "estimate", "wall"):
        assert words not in spanish.html.replace("pictures", ""), words


def test_price_from_the_jobs_line_or_the_card() -> None:
    """The line of the job where it has one; otherwise the card for the area of the chalky walls."""
    removal = factories.make_service(removes_chalk=True, unit="wall_sqft")
    job = factories.make_job(lines=[{}, {"service": removal, "price_cents": 61_000}])
    assert "part of this job: $610.00" in factories.make_notice(job=job).prints.get(language="en").html
    from pricing.catalogue.services import catalogue_defaults

    removal.is_offered = False
    removal.save()
    catalogue_defaults(on=NOW.date())
    # 500 sq ft at the card's $125.00 per 100
    assert "about $625.00" in factories.make_notice().prints.get(language="en").html


def test_the_quote_is_what_an_estimate_would_ask_by_the_card() -> None:
    """Surcharges that the house meets, the least charge and tax are in it and said; the drive is said not to be."""
    from pricing.catalogue.models import RateCard, Surcharge, TaxRate
    from pricing.catalogue.services import catalogue_defaults

    catalogue_defaults(on=NOW.date())
    card = RateCard.objects.get()
    chalky = {"kind": "percent", "figure": 10, "when": "chalk", "level": "3"}
    Surcharge.objects.create(card=card, name="Bad chalk", **chalky)
    Surcharge.objects.create(card=card, name="Four storeys", kind="fixed", figure=90_00, when="storeys", level="4")
    assert "No tax is included." in factories.make_notice().prints.get(language="en").html
    TaxRate.objects.create(name="Sales tax", effective_from=NOW.date(), rate_millionths=72_500)
    Surcharge.objects.create(card=card, name="Far out", kind="fixed", figure=25_00, when="driving", level="30")
    notice = factories.make_notice()
    page, spanish = (notice.prints.get(language=language).html for language in ("en", "es"))
    # 500 sq ft at $125.00 per 100, reading 3: $625.00 and 10 %; 7.25 % of $687.50 is $49.84
    for words in ("about $687.50 before tax", "In it: Bad chalk $62.50.", "may add to it", "With 7.25% tax",
                  "it would be $737.34."):  # fmt: skip
        assert words in page, words
    assert "Four storeys" not in page
    assert "Con 7.25% de impuesto serían $737.34." in spanish
    small = factories.make_property()
    factories.make_wall(property=small, name="north wall", area_sqft=100)
    little = factories.make_notice(walkthrough=factories.make_walkthrough(job=factories.make_job(property=small)))
    assert "Our least charge of $250.00 counts." in little.prints.get(language="en").html


def test_customers_text_is_no_markup() -> None:
    """Neither HTML nor typst reads what people typed."""
    findings = (FindingInput(kind="other", note='<b>x</b> #panic("x") $a$ *b*'),)
    notice = factories.make_notice(walls=(), findings=findings)
    row = notice.prints.get(language="en")
    assert "&lt;b&gt;x" in row.html
    assert '#panic("x") $a$ *b*' in PdfReader(io.BytesIO(print_pdf(row))).pages[0].extract_text()


def test_a_year_later_it_is_what_was_seen(moment: Any, client_of: Any, office: Any) -> None:
    """Byte for byte, page and PDF, although prices, names and templates moved on; the digests of the answer agree."""
    notice = with_picture()
    row = notice.prints.get(language="es")
    seen, printed = row.html, print_pdf(row)
    answer = notice_acknowledge(notice=notice, language="es", typed_name=" Ana  Sample ", now=NOW, by_link=True)
    factories.set_company(name="Another name")
    wall = notice.walkthrough.wall_findings.get().wall
    wall.name = "renamed"
    wall.save()
    moment.shift(timedelta(days=365))
    again = notice_make(walkthrough=notice.walkthrough, now=NOW + timedelta(days=365))
    assert again == notice
    page = client_of(office).get(f"/crew/notices/{notice.pk}/es/")
    assert seen in text_of(page)
    assert client_of(office).get(f"/crew/notices/{notice.pk}/es.pdf").content == printed
    assert (digest_of(seen.encode()), digest_of(printed)) == (answer.html_digest, answer.pdf_digest)
    assert answer.picture_digests == [notice.walkthrough.photos.get().digest]
    assert answer.typed_name == "Ana Sample"
    assert answer.statement in text_of(page)
    record = client_of(office).get(f"/crew/notices/{notice.pk}/acknowledgement.pdf").content
    assert digest_of(record) == answer.record_digest
    said = " ".join(PdfReader(io.BytesIO(record)).pages[0].extract_text().split())
    for words in ("Ana Sample", "He visto lo que se encontró", "2026-06-01", "por el enlace", "tiza 3 de 5",
                  "Un lavado normal no quita la tiza", "Foto 1"):  # fmt: skip
        assert words in said, words
    whole = said.replace(" ", "").replace("\u200b", "")
    for digest in (answer.html_digest, answer.pdf_digest, *answer.picture_digests):
        assert digest in whole


def test_the_record_is_the_homeowners_too(moment: Any) -> None:
    """By the link, once there is one; a record that was swapped on the disk is not shown."""
    notice = factories.make_notice()
    address = f"{link(notice)}acknowledgement.pdf"
    assert Client().get(address).status_code == 404
    notice_acknowledge(notice=notice, language="en", typed_name="Ann <b>", now=NOW, by_link=True)
    assert link(notice) + "acknowledgement.pdf" in text_of(Client().get(link(notice)))
    before = Client().get(address).content
    moment.shift(timedelta(days=29))
    assert Client().get(address).content == before
    row = Acknowledgement.objects.get()
    (Path(settings.MEDIA_ROOT) / row.record_file).write_bytes(b"%PDF-1.7 other")
    with pytest.raises(FileChanged):
        record_read(row)
    moment.shift(timedelta(days=2))
    assert Client().get(address).status_code == 404


@pytest.mark.parametrize(("name", "points"), [("王小明", "U+738B U+5C0F U+660E"), ("Íñigo Ødegård", None)])
def test_a_name_that_the_record_cannot_print_is_not_lost(name: str, points: str | None) -> None:
    """The page has no letters for every script: what it shows as question marks it names by its code points."""
    notice = factories.make_notice()
    row = notice_acknowledge(notice=notice, language="en", typed_name=name, now=NOW, by_link=True)
    said = " ".join(PdfReader(io.BytesIO(record_read(row))).pages[0].extract_text().split())
    assert points in said if points else name in said and "cannot print" not in said


def test_a_refused_name_leaves_no_record() -> None:
    """Whoever comes second finds the first record alone on the disk."""
    notice = factories.make_notice()
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOW, by_link=True)
    kept = sorted((Path(settings.MEDIA_ROOT) / "walkthroughs").iterdir())
    again = Notice.objects.get(pk=notice.pk)
    with pytest.raises(NoticeClosed):
        notice_acknowledge(notice=again, language="en", typed_name="Bob", now=NOW, by_link=True)
    assert sorted((Path(settings.MEDIA_ROOT) / "walkthroughs").iterdir()) == kept


def test_a_changed_pdf_is_noticed() -> None:
    """A file that was swapped on the disk is not shown as the record."""
    row = factories.make_notice().prints.get(language="en")
    (Path(settings.MEDIA_ROOT) / row.pdf_file).write_bytes(b"%PDF-1.7 other")
    with pytest.raises(FileChanged):
        print_pdf(row)


def test_nothing_found_gives_no_notice() -> None:
    """Chalk below 2 and nothing else is not shown."""
    with pytest.raises(Refused, match="Nothing was found"):
        notice_make(walkthrough=factories.make_walkthrough(chalk=1), now=NOW)


def test_pictures_that_come_late_are_shown() -> None:
    """A notice that nobody answered is made anew with them; one that is settled stays as it was sent."""
    first = with_picture()
    walkthrough = first.walkthrough
    photo_add(walkthrough=walkthrough, key=uuid4(), data=factories.make_picture(size=(99, 99)), now=NOW)
    second = notice_make(walkthrough=walkthrough, now=NOW)
    assert second != first
    assert len(second.prints.get(language="en").picture_digests) == 2
    notice_send(notice=second, sent_how="paper", now=NOW)
    photo_add(walkthrough=walkthrough, key=uuid4(), data=factories.make_picture(size=(98, 98)), now=NOW)
    assert notice_make(walkthrough=walkthrough, now=NOW) == second
    assert start_gate(job_id=walkthrough.job_id).is_open


# --- the homeowner's link ---


def link(notice: Notice) -> str:
    return f"/notice/{notice_token(notice.pk)}/en/"


def test_the_link_without_an_account() -> None:
    """Page, picture and PDF open; the name is typed once; afterwards the page shows it."""
    notice = with_picture()
    client, address = Client(), link(notice)
    opened = client.get(f"/notice/{notice_token(notice.pk)}/", follow=True)
    assert (opened.status_code, "I have seen it" in text_of(opened)) == (200, True)
    digest = notice.walkthrough.photos.get().digest
    assert client.get(f"{address}pictures/{digest}/")["Content-Type"] == "image/jpeg"
    assert client.get(f"{address}notice.pdf").content.startswith(b"%PDF")
    assert client.post(address, {"language": "en", "typed_name": " "}).status_code == 422
    answer = client.post(address, {"language": "en", "typed_name": "Ann Sample"}, headers={"User-Agent": "a phone"})
    assert answer.status_code == 302
    row = Acknowledgement.objects.get()
    assert (row.typed_name, row.by_link, row.device, row.at) == ("Ann Sample", True, "a phone", NOW)
    assert "Ann Sample" in text_of(client.get(address))


def test_used_again_or_by_two_people() -> None:
    """The second name is refused clearly and changes nothing."""
    notice = factories.make_notice()
    first, second = Client(), Client()
    for client in (first, second):
        client.get(link(notice))
    first.post(link(notice), {"language": "en", "typed_name": "Ann"})
    again = second.post(link(notice), {"language": "en", "typed_name": "Bob"})
    assert (again.status_code, "acknowledged already. Nothing was changed" in text_of(again)) == (409, True)
    assert Acknowledgement.objects.get().typed_name == "Ann"


def test_altered_or_made_up() -> None:
    """Any changed letter, another notice's number, nothing: refused, nothing changed."""
    notice = factories.make_notice()
    token = notice_token(notice.pk)
    changed = [token[:-1] + ("A" if token[-1] != "A" else "B"), "x" + token[1:], token + "A", "A", token.split(":")[0]]
    for bad in changed:
        answer = Client().post(f"/notice/{bad}/en/", {"language": "en", "typed_name": "Mallory"})
        assert (answer.status_code, "link is not complete" in text_of(answer)) == (404, True), bad
    assert not Acknowledgement.objects.exists()


def test_expired(moment: Any) -> None:
    """After thirty days page, picture and PDF are closed."""
    notice = with_picture()
    address, digest = link(notice), notice.walkthrough.photos.get().digest
    moment.shift(timedelta(days=30, seconds=2))
    for path in (address, f"{address}notice.pdf", f"{address}pictures/{digest}/"):
        assert Client().get(path).status_code == 404
    answer = Client().post(address, {"language": "en", "typed_name": "Ann"})
    assert "time of this link is over" in text_of(answer)
    assert not Acknowledgement.objects.exists()


def test_replaced_by_a_newer_walkthrough() -> None:
    """The old link says so; acknowledging what was corrected is refused."""
    notice = factories.make_notice()
    factories.make_walkthrough(job=notice.walkthrough.job, chalk=4)
    answer = Client().post(link(notice), {"language": "en", "typed_name": "Ann"})
    assert (answer.status_code, "newer walkthrough" in text_of(answer)) == (409, True)
    assert not Acknowledgement.objects.exists()


def test_a_link_shows_its_own_pictures_only() -> None:
    """The digest of another house's picture is not found under it."""
    mine, other = with_picture(), factories.make_walkthrough()
    photo = photo_add(walkthrough=other, key=uuid4(), data=factories.make_picture(size=(99, 99)), now=NOW)
    assert Client().get(f"{link(mine)}pictures/{photo.digest}/").status_code == 404


def test_other_sites_cannot_acknowledge() -> None:
    """The form carries a token of its own."""
    notice = factories.make_notice()
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(link(notice), {"language": "en", "typed_name": "Ann"}).status_code == 400
    assert not Acknowledgement.objects.exists()


# --- nobody home ---


@pytest.mark.parametrize("how", ["email", "text"])
def test_sent_with_its_link(how: str, moment: Any) -> None:
    """Queued once in the customer's language, with a link that opens; it may still be acknowledged."""
    place = factories.make_property(customer=factories.make_customer(language="es"))
    notice = factories.make_notice(job=factories.make_job(property=place))
    for _again in range(2):
        notice_send(notice=notice, sent_how=how, now=NOW)
    message = Message.objects.get()
    assert (message.channel, message.language, NobodyHome.objects.count()) == (how, "es", 1)
    assert "antes de nuestro trabajo" in message.body
    path = message.body.split("http://testserver")[1].split()[0]
    assert "Lo he visto" in text_of(Client().get(path, follow=True))
    assert notice_acknowledge(notice=notice, language="es", typed_name="Ana", now=NOW, by_link=True)
    with pytest.raises(NoticeClosed):
        notice_send(notice=notice, sent_how="paper", now=NOW)


@pytest.mark.parametrize(
    ("meanwhile", "why"),
    [
        ("acknowledged", "acknowledged already"),
        ("walked again", "newer walkthrough"),
        ("no", "does not want messages"),
        ("moved", "address changed"),
        ("nothing", ""),
    ],
)
def test_a_notice_that_waited_is_looked_at_again(meanwhile: str, why: str) -> None:
    """It goes unless it was settled, replaced or refused between writing and sending."""
    factories.set_company()
    customer = factories.make_customer(email="ann@example.com")
    notice = factories.make_notice(job=factories.make_job(property=factories.make_property(customer=customer)))
    notice_send(notice=notice, sent_how="email", now=NOW)
    if meanwhile == "acknowledged":
        notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOW, by_link=True)
    elif meanwhile == "walked again":
        factories.make_walkthrough(job=notice.walkthrough.job, chalk=4)
    elif meanwhile == "no":
        factories.make_consent(customer=customer, channel="email", purpose="service", given=False)
    elif meanwhile == "moved":
        type(customer).objects.filter(pk=customer.pk).update(email="other@example.com")
    result = messages_dispatch(now=NOW)
    message = Message.objects.get()
    assert (result.sent, result.dropped) == ((0, 1) if why else (1, 0))
    assert why in message.problem


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_text_with_a_notice_takes_two_parts_at_most(language: str, settings: Any) -> None:
    settings.WALLDAY_SITE_URL = "https://wash.example.com"
    factories.set_company(name="Tallowick Exterior Washing Co")
    customer = factories.make_customer(language=language)
    place = factories.make_property(customer=customer, street="1284 Whippoorwill Hollow Parkway")
    notice_send(notice=factories.make_notice(job=factories.make_job(property=place)), sent_how="text", now=NOW)
    count = sms_count(Message.objects.get().body.strip())
    assert (count.encoding, count.parts <= 2) == ("GSM-7", True)


def test_a_text_waits_for_morning_at_the_house() -> None:
    """Quiet hours are those of the property, wherever the company sits."""
    factories.set_company(timezone="America/New_York")
    place = factories.make_property(latitude=37.77, longitude=-122.42)
    notice_send(notice=factories.make_notice(job=factories.make_job(property=place)), sent_how="text", now=NOW)
    assert Message.objects.get().quiet_zone == "America/Los_Angeles"


def test_no_way_to_send() -> None:
    """Without an address, or against the customer's will, it is refused and nobody is recorded as away."""
    customer = factories.make_customer(email="")
    factories.make_consent(customer=customer, channel="text", purpose="all", given=False)
    place = factories.make_property(customer=customer)
    notice = factories.make_notice(job=factories.make_job(property=place))
    for how, words in (("email", "no such address"), ("text", "does not want"), ("pigeon", "how the notice")):
        with pytest.raises(Refused, match=words):
            notice_send(notice=notice, sent_how=how, now=NOW)
    assert not NobodyHome.objects.exists()
    assert not Message.objects.exists()


def test_a_percent_sign_in_the_address_stays_what_it_is() -> None:
    """The street is data: it is put into the words once and not read as words itself."""
    notice = factories.make_notice()
    place = notice.walkthrough.property
    place.street = "5 100% View Lane"
    place.save()
    place.customer.email = "ann@example.com"
    place.customer.save()
    notice_send(notice=Notice.objects.get(pk=notice.pk), sent_how="email", now=NOW)
    assert "5 100% View Lane" in Message.objects.get().body
