"""Acknowledged without a signal: kept as it was seen, once, compared with our own words, and refused in words."""

import io
import json
import re
import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection
from pypdf import PdfReader

from jobs.walkthroughs.errors import AlreadyRecorded, NoticeClosed, OtherHouse, PhoneTimeRefused
from jobs.walkthroughs.inputs import FindingInput, OfflineAbsence, OfflineAcknowledgement
from jobs.walkthroughs.models import Acknowledgement, NobodyHome, Notice, OfflineAnswer, Walkthrough
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.services import (
    acknowledge_offline,
    difference_settle,
    nobody_home_offline,
    notice_acknowledge,
    notice_make,
    photo_add,
    record_read,
)
from jobs.walkthroughs.services.offline import expected_words
from jobs.work.models import Job
from pricing.catalogue.services import catalogue_defaults
from routing.dispatch.services import plan_send_out
from shared.errors import Refused
from shared.kept_files import digest_of
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def job(crew_lead: Any) -> Job:
    """On the crew lead's route of today."""
    found = factories.make_job()
    factories.make_wall(property=found.property, name="north wall", area_sqft=500)
    plan_send_out(plan=factories.make_planned_day((factories.make_crew(lead=crew_lead), [found])), expected_version=1)
    return found


@pytest.fixture
def walkthrough(job: Job) -> Walkthrough:
    """Chalk 3 and an open window, with a picture of the wall, walked on today."""
    row = factories.make_walkthrough(
        job=job, walked_on=NOON.date(), now=NOON, findings=(FindingInput(kind="open_window", note="kitchen"),)
    )
    wall = row.wall_findings.get().wall_id
    photo_add(walkthrough=row, key=uuid.uuid4(), data=factories.make_picture(), now=NOON, wall_id=wall)
    return row


def as_phoned(walkthrough: Walkthrough, **over: Any) -> OfflineAcknowledgement:
    """What an honest phone sends in: an hour old, with every picture."""
    entry = OfflineAcknowledgement(
        key=uuid.uuid4(),
        job_id=walkthrough.job_id,
        at=NOON - timedelta(hours=1),
        language="en",
        typed_name="Ann  Sample",
        statement="",
        text="",
        pictures=tuple(photo.sent_digest for photo in walkthrough.photos.all()),
    )
    entry = replace(entry, **{name: over.pop(name) for name in ("language", "pictures") if name in over})
    text, statement = expected_words(walkthrough, entry)
    return replace(entry, **{"text": text, "statement": statement, **over})


def hand_in(walkthrough: Walkthrough, entry: OfflineAcknowledgement | None = None, **over: Any) -> OfflineAnswer:
    entry = entry or as_phoned(walkthrough, **over)
    return acknowledge_offline(walkthrough=walkthrough, entry=entry, now=NOON)


def record_of(answer: OfflineAnswer) -> str:
    pages = PdfReader(io.BytesIO(record_read(answer.acknowledgement))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    return text.replace("\u200b", "")


def test_kept_as_it_was_seen(walkthrough: Walkthrough) -> None:
    """Text, name, both times and digests; the gate opens; the printed record holds all of it."""
    answer = hand_in(walkthrough)
    row = answer.acknowledgement
    assert (answer.differs, answer.text, answer.text_digest) == (
        False, answer.expected, digest_of(answer.text.encode()),
    )  # fmt: skip
    assert answer.text.split("\n")[0] == "What we found before the work"
    for line in ("north wall: chalk 3 of 5, a clear white film; a streak stays on the wall",
                 "window that does not shut, kitchen", "Picture 1: north wall",
                 "We will send you an estimate of its price."):  # fmt: skip
        assert line in answer.text.split("\n"), line
    assert (row.typed_name, row.at, answer.received_at) == ("Ann Sample", NOON - timedelta(hours=1), NOON)
    assert start_gate(job_id=walkthrough.job_id).state == "acknowledged"
    record = record_of(answer)
    for words in ("Given without a signal", "2026-06-02 15:00:00 UTC", "2026-06-02 16:00:00 UTC", "Ann Sample",
                  "Our text of the stored walkthrough is the same", answer.text_digest,
                  answer.picture_digests[0], "window that does not shut, kitchen"):  # fmt: skip
        assert words in record, words


def test_in_spanish(walkthrough: Walkthrough) -> None:
    """The notice and the record are in the language that was shown."""
    answer = hand_in(walkthrough, language="es")
    assert (answer.differs, answer.acknowledgement.shown.language) == (False, "es")
    assert "Un lavado normal no quita la tiza" in answer.text
    assert "sin señal" in record_of(answer)


def test_no_price_by_the_card_but_the_jobs_own(walkthrough: Walkthrough) -> None:
    """A phone cannot reckon the card's price; that of a line of the job is known ahead."""
    catalogue_defaults(on=NOON.date())
    assert "about $" in notice_make(walkthrough=walkthrough, now=NOON).prints.get(language="en").html
    assert "We will send you an estimate of its price." in as_phoned(walkthrough).text
    removal = factories.make_service(removes_chalk=True, unit="wall_sqft")
    walkthrough.job.lines.create(
        service=removal, quantity=1, price_cents=61_000, card_price_cents=61_000, estimated_minutes=60
    )
    assert "It is part of this job: $610.00 before tax." in as_phoned(walkthrough).text


def test_exactly_once(walkthrough: Walkthrough) -> None:
    """The same again is the same row; the same key with other content is refused and changes nothing."""
    entry = as_phoned(walkthrough)
    assert hand_in(walkthrough, entry) == hand_in(walkthrough, entry)
    assert (Notice.objects.count(), Acknowledgement.objects.count(), OfflineAnswer.objects.count()) == (1, 1, 1)
    for other in ({"typed_name": "Bob"}, {"text": entry.text + "."}, {"at": NOON}, {"pictures": ()}):
        with pytest.raises(AlreadyRecorded):
            hand_in(walkthrough, replace(entry, **other))
    assert Acknowledgement.objects.get().typed_name == "Ann Sample"


def test_a_second_answer_is_refused(walkthrough: Walkthrough) -> None:
    """After one without a signal, and after one that was given on the page."""
    hand_in(walkthrough)
    with pytest.raises(NoticeClosed, match="acknowledged already"):
        hand_in(walkthrough, typed_name="Bob")
    other = factories.make_walkthrough(job=walkthrough.job, walked_on=NOON.date(), now=NOON)
    notice = notice_make(walkthrough=other, now=NOON)
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOON, by_link=False)
    with pytest.raises(NoticeClosed, match="acknowledged already"):
        hand_in(other)


def test_a_newer_walkthrough_took_its_place(walkthrough: Walkthrough) -> None:
    """What was shown of the older one settles nothing."""
    entry = as_phoned(walkthrough)
    factories.make_walkthrough(job=walkthrough.job, walked_on=NOON.date(), now=NOON)
    with pytest.raises(NoticeClosed, match="newer walkthrough"):
        hand_in(walkthrough, entry)
    assert not OfflineAnswer.objects.exists()


@pytest.mark.parametrize(
    ("over", "error", "words"),
    [
        ({"at": NOON + timedelta(minutes=3)}, PhoneTimeRefused, "has not come yet"),
        ({"at": NOON - timedelta(days=7, minutes=1)}, PhoneTimeRefused, "older than seven days"),
        ({"at": NOON - timedelta(days=1)}, PhoneTimeRefused, "older than its walkthrough"),
        ({"job_id": 1_000_000}, OtherHouse, "another house"),
        ({"typed_name": "  "}, Refused, "Type your name"),
    ],
)
def test_what_cannot_be_is_refused(
    walkthrough: Walkthrough, over: dict[str, Any], error: type[Exception], words: str
) -> None:
    """In words, and nothing is stored."""
    with pytest.raises(error, match=words):
        hand_in(walkthrough, **over)
    assert not Notice.objects.exists()


def test_nothing_found_has_nothing_to_acknowledge(job: Job) -> None:
    """Refused: no text was to be shown."""
    row = factories.make_walkthrough(job=job, chalk=1, walked_on=NOON.date(), now=NOON)
    with pytest.raises(Refused, match="Nothing was found"):
        hand_in(row)


@pytest.mark.parametrize("part", ["text", "statement", "pictures", "left out"])
def test_another_text_keeps_the_gate_shut(walkthrough: Walkthrough, part: str, office: Any) -> None:
    """An old or altered sentence, or a picture that never arrived: kept as it was seen, and the office has to look."""
    honest = as_phoned(walkthrough)
    altered = {
        "text": {"text": honest.text.replace("chalk 3 of 5", "chalk 1 of 5")},
        "statement": {"statement": "I agree to everything."},
        "pictures": {"pictures": (*honest.pictures, "0" * 64)},
        "left out": {"pictures": ()},
    }[part]
    answer = hand_in(walkthrough, replace(honest, **altered))
    assert (answer.differs, answer.acknowledgement.statement == altered.get("statement", honest.statement)) == (
        True, True,
    )  # fmt: skip
    assert answer.text == altered.get("text", honest.text)
    gate = start_gate(job_id=walkthrough.job_id)
    assert (gate.state, gate.is_open) == ("differs", False)
    assert "differs from what the phone showed" in record_of(answer)
    with pytest.raises(Refused, match="Say why"):
        difference_settle(answer=answer, reason=" ", now=NOON, actor=office)
    difference_settle(answer=answer, reason="old words, same meaning", now=NOON, actor=office)
    assert start_gate(job_id=walkthrough.job_id).is_open


def test_acknowledged_again(walkthrough: Walkthrough, office: Any) -> None:
    """Where it differs, our own notice is made and acknowledged; the first answer stays as it was seen."""
    answer = hand_in(walkthrough, text="Nothing was found.")
    notice = notice_make(walkthrough=walkthrough, now=NOON)
    assert notice.pk != answer.notice.pk
    assert start_gate(job_id=walkthrough.job_id).state == "open"
    with pytest.raises(NoticeClosed):
        difference_settle(answer=answer, reason="fine", now=NOON, actor=office)
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOON, by_link=False)
    assert start_gate(job_id=walkthrough.job_id).state == "acknowledged"
    assert OfflineAnswer.objects.get().text == "Nothing was found."


def test_a_picture_that_the_phone_could_not_draw(walkthrough: Walkthrough) -> None:
    """It is not among the digests, and the text says that it was not shown."""
    answer = hand_in(walkthrough, pictures=())
    assert (answer.differs, answer.acknowledgement.picture_digests) == (False, [])
    assert "Picture 1: north wall (this phone could not show it)" in answer.text


def test_what_was_typed_is_no_markup(walkthrough: Walkthrough) -> None:
    """Neither the page nor the printed record reads it."""
    answer = hand_in(walkthrough, text='<script>x</script> #panic("x")\n*b*')
    assert "&lt;script&gt;" in answer.acknowledgement.shown.html
    assert '#panic("x")' in record_of(answer)


def test_a_wish_opens_the_removal(walkthrough: Walkthrough) -> None:
    """As an acknowledgement with a signal does."""
    catalogue_defaults(on=NOON.date())
    hand_in(walkthrough, wants_removal=True)
    assert Job.objects.filter(source=f"found on job {walkthrough.job_id}").count() == 1


def test_rows_are_never_changed(walkthrough: Walkthrough) -> None:
    """Also not in SQL."""
    hand_in(walkthrough)
    with pytest.raises(DatabaseError, match="append-only"), connection.cursor() as cursor:
        cursor.execute("UPDATE walkthroughs_offlineanswer SET text = 'x'")


def test_nobody_home(walkthrough: Walkthrough) -> None:
    """Our own notice goes out on arrival, once; the phone's time stands beside it."""
    entry = OfflineAbsence(uuid.uuid4(), walkthrough.job_id, NOON - timedelta(hours=1), "email")
    first = nobody_home_offline(walkthrough=walkthrough, entry=entry, now=NOON)
    assert nobody_home_offline(walkthrough=walkthrough, entry=entry, now=NOON) == first
    assert (first.phone_at, first.absence.message is None) == (NOON - timedelta(hours=1), False)
    assert start_gate(job_id=walkthrough.job_id).state == "nobody_home"
    with pytest.raises(AlreadyRecorded):
        nobody_home_offline(walkthrough=walkthrough, entry=replace(entry, note="other"), now=NOON)
    with pytest.raises(NoticeClosed, match="nobody was home"):
        nobody_home_offline(walkthrough=walkthrough, entry=replace(entry, key=uuid.uuid4()), now=NOON)
    assert NobodyHome.objects.count() == 1
    hand_in(walkthrough)  # the homeowner came after all
    assert start_gate(job_id=walkthrough.job_id).state == "acknowledged"
    with pytest.raises(NoticeClosed):
        nobody_home_offline(walkthrough=walkthrough, entry=replace(entry, key=uuid.uuid4()), now=NOON)


# --- command and pages ---


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("notices", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_checks_and_reprints(walkthrough: Walkthrough, tmp_path: Path) -> None:
    """Counted, a difference is named, the record comes byte for byte, and a changed file is found."""
    answer = hand_in(walkthrough)
    assert run("check").splitlines()[1:] == ["Given without a signal: 1 of the acknowledgements."]
    other = factories.make_walkthrough(job=walkthrough.job, walked_on=NOON.date(), now=NOON)
    differing = hand_in(other, text="Other words.")
    assert f"notice {differing.notice.pk}: the phone showed another text than ours, not settled" in run("check")
    assert json.loads(run("check", "--json"))["differing"] == [differing.notice.pk]
    run("reprint", str(answer.notice.pk), "--out", str(tmp_path))
    kept = tmp_path / f"acknowledgement-{answer.notice.pk}.pdf"
    assert kept.read_bytes() == record_read(answer.acknowledgement)
    record = Path(settings.MEDIA_ROOT) / answer.acknowledgement.record_file
    record.write_bytes(record.read_bytes() + b" ")
    with pytest.raises(CommandError, match="Not as it was written: 1"):
        run("check")


def test_the_office_sees_both_texts(client_of: Any, crew_lead: Any, office: Any, walkthrough: Walkthrough) -> None:
    """On the job's page, with the button that lets it count; a crew lead has none."""
    answer = hand_in(walkthrough, text="Nothing was found.\nReally.")
    client, path = client_of(office), f"/notices/{answer.notice.pk}/difference/"
    page = client.get(f"/jobs/{walkthrough.job_id}/").content.decode()
    for words in ("Nothing was found.<br>Really.", "chalk 3 of 5", "may not start until that is settled",
                  "without a signal at 2026-06-02", path):  # fmt: skip
        assert words in page, words
    assert client_of(crew_lead).post(path, {"reason": "fine"}).status_code == 403
    client.post(path, {"reason": "  "})
    assert not start_gate(job_id=walkthrough.job_id).is_open
    after = client.post(path, {"reason": "same meaning"}, follow=True).content.decode()
    assert ("same meaning" in after, path in after) == (True, False)
    assert start_gate(job_id=walkthrough.job_id).is_open


def test_the_page_carries_the_sentences(client_of: Any, crew_lead: Any, walkthrough: Walkthrough) -> None:
    """Of both languages, with the names of the walls; the printed notice has the same ones."""
    page = client_of(crew_lead).get(f"/crew/walkthrough/{walkthrough.job_id}/").content.decode()
    given = json.loads(re.search(r'id="sentences" type="application/json">(.*?)</script>', page).group(1))
    notice = notice_make(walkthrough=walkthrough, now=NOON)
    for row in notice.prints.all():
        language = given["languages"][row.language]
        chalk, names = language["sentences"]["chalk"], language["names"]["walls"].values()
        for words in (*chalk, *names, language["names"]["days"][NOON.date().isoformat()]):
            assert words in row.html, words


# --- for programs ---


def body_of(walkthrough: Walkthrough, **over: Any) -> dict[str, Any]:
    entry = as_phoned(walkthrough, **over)
    return {
        "key": str(entry.key), "job": entry.job_id, "at": entry.at.isoformat(), "language": entry.language,
        "typed_name": entry.typed_name, "statement": entry.statement, "text": entry.text,
        "pictures": list(entry.pictures), "wants_removal": entry.wants_removal,
    }  # fmt: skip


def post(client: Any, path: str, body: dict[str, Any]) -> Any:
    return client.post(path, body, content_type="application/json")


def test_by_the_api(client_of: Any, crew_lead: Any, walkthrough: Walkthrough) -> None:
    """Stored once, refused with a problem and its kind; the notice shows what was seen."""
    client, path = client_of(crew_lead), f"/api/walkthroughs/{walkthrough.key}/acknowledgement/"
    body = body_of(walkthrough)
    early = post(client, f"/api/walkthroughs/{uuid.uuid4()}/acknowledgement/", body)
    assert early.status_code == 404  # before its walkthrough
    for wrong, status, kind in (
        ({"job": 999_999}, 409, "other_house"),
        ({"at": "2026-06-03T16:00:00Z"}, 400, "phone_time_refused"),
        ({"pictures": ["x"]}, 400, "invalid"),
        ({"text": ""}, 400, "invalid"),
    ):
        refused = post(client, path, body | wrong)
        assert (refused.status_code, refused.json()["type"].split("/")[-1]) == (status, kind), refused.json()
    first = post(client, path, body)
    assert (first.status_code, first.json()["differs"], first.json()["text"]) == (200, False, body["text"])
    assert post(client, path, body).json() == first.json()
    other = post(client, path, body | {"typed_name": "Bob"})
    assert (other.status_code, other.json()["type"]) == (409, "/problems/recorded_already")
    second = post(client, path, body | {"key": str(uuid.uuid4())})
    assert (second.status_code, second.json()["type"]) == (409, "/problems/notice_closed")
    seen = client.get(f"/api/notices/{first.json()['notice']}/").json()["acknowledgement"]["offline"]
    assert (seen["text"], seen["differs"]) == (body["text"], False)


def test_the_office_settles_by_the_api(client_of: Any, crew_lead: Any, office: Any, walkthrough: Walkthrough) -> None:
    """With a reason, and nobody of the crew."""
    path = f"/api/walkthroughs/{walkthrough.key}/acknowledgement/"
    notice = post(client_of(crew_lead), path, body_of(walkthrough, text="Other.")).json()["notice"]
    path = f"/api/notices/{notice}/difference/"
    assert post(client_of(crew_lead), path, {"reason": "fine"}).status_code == 403
    gate = post(client_of(office), path, {"reason": "fine"}).json()
    assert (gate["state"], gate["may_start"]) == ("acknowledged", True)


def test_nobody_home_by_the_api(client_of: Any, crew_lead: Any, walkthrough: Walkthrough) -> None:
    """Once, as above."""
    path = f"/api/walkthroughs/{walkthrough.key}/nobody-home/"
    body = {"key": str(uuid.uuid4()), "job": walkthrough.job_id, "at": NOON.isoformat(), "sent_how": "email"}
    client = client_of(crew_lead)
    first = post(client, path, body)
    assert (first.status_code, post(client, path, body).json()) == (200, first.json())
    assert post(client, path, body | {"sent_how": "pigeon"}).status_code == 400
    assert OfflineAnswer.objects.count() == 1
