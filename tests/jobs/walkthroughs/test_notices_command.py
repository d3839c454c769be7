"""`notices check` and `notices reprint`: what was shown is still there, or it is said what is not."""

import io
import json
from pathlib import Path
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from jobs.walkthroughs.models import Acknowledgement, Notice, Photo
from jobs.walkthroughs.services import notice_acknowledge, photo_add, print_pdf, record_read
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
    assert json.loads(run("check", "--json")) == {"notices": 1, "acknowledgements": 1, "pictures": 1, "problems": []}


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
