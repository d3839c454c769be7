"""`notices check` and `notices reprint`: what was shown is still there, or it is said what is not. `notices send`."""

import io
import json
from collections.abc import Callable
from pathlib import Path
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from jobs.customers.models import Customer
from jobs.walkthroughs.models import Acknowledgement, Notice, Photo
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.services import notice_acknowledge, photo_add, print_pdf, record_read
from shared.outbox.models import Message
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.MOMENT


@pytest.fixture
def notice() -> Notice:
    walkthrough = factories.make_walkthrough()
    photo_add(walkthrough=walkthrough, key=uuid4(), data=factories.make_picture(), now=NOW)
    made = factories.make_notice(walkthrough=walkthrough)
    notice_acknowledge(notice=made, language="en", typed_name="Ann Sample", now=NOW, by_link=True)
    return made


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("notices", *arguments, stdout=out)
    return out.getvalue()


def test_all_as_it_was_written(notice: Notice) -> None:
    """Counted, with no problem."""
    assert run("check") == "Read again: 1 notices, 1 acknowledgements, 1 pictures.\n"
    assert json.loads(run("check", "--json")) == {
        "notices": 1,
        "acknowledgements": 1,
        "pictures": 1,
        "offline": 0,
        "differing": [],
        "problems": [],
    }


def test_what_was_changed_or_lost_is_named(notice: Notice) -> None:
    """Each by its kind and number; the command ends with an error."""
    record = Path(settings.MEDIA_ROOT) / Acknowledgement.objects.get().record_file
    record.write_bytes(record.read_bytes() + b" ")
    (Path(settings.MEDIA_ROOT) / notice.prints.get(language="es").pdf_file).unlink()
    photo = Photo.objects.get()
    (Path(settings.MEDIA_ROOT) / photo.file).write_bytes(b"other")
    out = io.StringIO()
    with pytest.raises(CommandError, match="Not as it was written: 3"):
        call_command("notices", "check", stdout=out)
    assert out.getvalue().splitlines()[1:] == [
        f"notice {notice.pk} (es): PDF is missing",
        f"notice {notice.pk}: record was changed",
        f"walkthrough {notice.walkthrough_id}: picture {photo.pk} was changed",
    ]
    with pytest.raises(CommandError, match="Not as it was written"):
        run("reprint", str(notice.pk))


def test_reprint(notice: Notice, tmp_path: Path) -> None:
    """The same bytes as were kept, in both languages, and the record."""
    said = run("reprint", str(notice.pk), "--out", str(tmp_path / "new")).split()
    assert sorted(Path(name).name for name in said) == [
        f"acknowledgement-{notice.pk}.pdf", f"notice-{notice.pk}-en.pdf", f"notice-{notice.pk}-es.pdf",
    ]  # fmt: skip
    for row in notice.prints.all():
        assert (tmp_path / "new" / f"notice-{notice.pk}-{row.language}.pdf").read_bytes() == print_pdf(row)
    record = (tmp_path / "new" / f"acknowledgement-{notice.pk}.pdf").read_bytes()
    assert record == record_read(Acknowledgement.objects.get())
    with pytest.raises(CommandError, match="There is no notice"):
        run("reprint", "999999")


# --- nobody was home ---


@pytest.fixture
def unseen() -> Notice:
    owner = factories.make_customer(email="ann@example.com", phone_e164="+15555550101")
    job = factories.make_job(property=factories.make_property(customer=owner, street="14 Elm Street"))
    return factories.make_notice(walkthrough=factories.make_walkthrough(job=job))


def test_a_notice_goes_by_email(unseen: Notice) -> None:
    """Once: the same way again sends nothing and says when it went."""
    assert run("send", str(unseen.pk)) == f"Notice {unseen.pk} goes by email. The work may start.\n"
    message = Message.objects.get()
    assert (message.channel, message.recipient, message.language) == ("email", "ann@example.com", "en")
    assert message.subject == "What we found at 14 Elm Street"
    assert "went that way already" in run("send", str(unseen.pk))
    said = json.loads(run("send", str(unseen.pk), "--channel", "email", "--json"))
    assert (said["message"], said["is_new"], said["notice"]) == (message.pk, False, unseen.pk)
    assert start_gate(job_id=unseen.walkthrough.job_id).state == "nobody_home"


def test_a_notice_goes_by_text_in_spanish(unseen: Notice) -> None:
    said = json.loads(
        run("send", str(unseen.pk), "--channel", "text", "--language", "es", "--note", "hung up", "--json")
    )
    message = Message.objects.get()
    assert (said["sent_how"], said["is_new"], said["message"]) == ("text", True, message.pk)
    assert (message.language, message.recipient) == ("es", "+15555550101")
    assert "por favor" in message.body
    assert unseen.absences.get().note == "hung up"


def test_a_notice_left_on_paper(unseen: Notice) -> None:
    assert "on paper, left at the door" in run("send", str(unseen.pk), "--channel", "paper")
    assert not Message.objects.exists()


def _without_address(notice: Notice) -> None:
    Customer.objects.update(email="")


def _opted_out(notice: Notice) -> None:
    customer = notice.walkthrough.property.customer
    factories.make_consent(customer=customer, channel="email", purpose="all", given=False)


def _acknowledged(notice: Notice) -> None:
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=NOW, by_link=True)


def _newer(notice: Notice) -> None:
    factories.make_walkthrough(job=notice.walkthrough.job)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (_without_address, "no such address"),
        (_opted_out, "does not want messages this way"),
        (_acknowledged, "acknowledged already"),
        (_newer, "newer walkthrough"),
    ],
)
def test_a_notice_that_cannot_go(unseen: Notice, wrong: Callable[[Notice], None], words: str) -> None:
    """The page's own words, and nothing is written."""
    wrong(unseen)
    with pytest.raises(CommandError, match=words):
        run("send", str(unseen.pk))
    assert (unseen.absences.count(), Message.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    "arguments",
    [("999999",), ("x",), (), ("1", "--channel", "pigeon"), ("1", "--language", "fr"), ("-1",)],
)
def test_no_notice_goes_with(arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        run("send", *arguments)
    assert not Message.objects.exists()
