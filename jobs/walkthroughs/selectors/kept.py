"""Whether what was shown and acknowledged is still there as it was written."""

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.walkthroughs.models import Acknowledgement, NoticePrint, Photo
from shared.kept_files import FileChanged, digest_of, file_read


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """How many of each were looked at, and one line for each that is not as it was written."""

    notices: int
    acknowledgements: int
    pictures: int
    problems: tuple[str, ...]


def kept_check() -> KeptCheck:
    """Read every text, PDF and picture again and compare digests; the rows themselves are append-only."""
    prints = NoticePrint.objects.order_by("pk")
    answers = Acknowledgement.objects.select_related("shown").order_by("pk")
    photos = Photo.objects.order_by("pk")
    problems = [line for rows in (prints, answers, photos) for row in rows.iterator() for line in _problems(row)]
    notices = prints.values("notice").distinct().count()
    return KeptCheck(notices, answers.count(), photos.count(), tuple(problems))


def _problems(row: NoticePrint | Acknowledgement | Photo) -> Iterator[str]:
    if isinstance(row, NoticePrint):
        if digest_of(row.html.encode()) != row.html_digest:
            yield f"notice {row.notice_id} ({row.language}): text"
        yield from _file_problem(row.pdf_file, row.pdf_digest, f"notice {row.notice_id} ({row.language}): PDF")
    elif isinstance(row, Acknowledgement):
        shown = row.shown
        if (row.html_digest, row.pdf_digest, row.picture_digests) != (
            shown.html_digest,
            shown.pdf_digest,
            shown.picture_digests,
        ):
            yield f"notice {row.notice_id}: acknowledged text"
        if row.record_file:
            yield from _file_problem(row.record_file, row.record_digest, f"notice {row.notice_id}: record")
    else:
        yield from _file_problem(row.file, row.digest, f"walkthrough {row.walkthrough_id}: picture {row.pk}")


def _file_problem(name: str, digest: str, what: str) -> Iterator[str]:
    try:
        file_read(name, digest)
    except FileChanged:
        yield f"{what} was changed"
    except OSError:
        yield f"{what} is missing"
