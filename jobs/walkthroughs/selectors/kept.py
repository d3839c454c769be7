"""Whether what was shown and acknowledged is still there as it was written."""

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.walkthroughs.models import Acknowledgement, NoticePrint, OfflineAnswer, Photo
from jobs.walkthroughs.record_words import text_lines
from jobs.walkthroughs.selectors.notices import is_disputed
from shared.kept_files import FileChanged, digest_of, file_read


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """How many of each were looked at, and one line for each that is not as it was written. `offline` of the
    acknowledgements were given without a signal, and of those `differing` (numbers of notices) showed another text than
    ours, which nobody settled."""

    notices: int
    acknowledgements: int
    pictures: int
    offline: int
    differing: tuple[int, ...]
    problems: tuple[str, ...]


def kept_check() -> KeptCheck:
    """Read every text, PDF and picture again and compare digests; the rows themselves are append-only."""
    prints = NoticePrint.objects.order_by("pk")
    answers = Acknowledgement.objects.select_related("shown", "offline__settled").order_by("pk")
    photos = Photo.objects.order_by("pk")
    problems = [line for rows in (prints, answers, photos) for row in rows.iterator() for line in _problems(row)]
    notices = prints.values("notice").distinct().count()
    offline = answers.filter(offline__isnull=False)
    differing = [row.notice_id for row in offline if is_disputed(row)]
    return KeptCheck(notices, answers.count(), photos.count(), offline.count(), tuple(differing), tuple(problems))


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
        offline = getattr(row, "offline", None)
        if offline is not None and not _is_as_seen(offline, row):
            yield f"notice {row.notice_id}: text as the phone showed it"
        if row.record_file:
            yield from _file_problem(row.record_file, row.record_digest, f"notice {row.notice_id}: record")
    else:
        yield from _file_problem(row.file, row.digest, f"walkthrough {row.walkthrough_id}: picture {row.pk}")


def _is_as_seen(offline: OfflineAnswer, row: Acknowledgement) -> bool:
    """Whether the text is the one whose digest was kept, and the notice shows it line by line."""
    lines = [line.strip() for line in offline.text.splitlines() if line.strip()]
    return digest_of(offline.text.encode()) == offline.text_digest and text_lines(row.shown.html) == lines


def _file_problem(name: str, digest: str, what: str) -> Iterator[str]:
    try:
        file_read(name, digest)
    except FileChanged:
        yield f"{what} was changed"
    except OSError:
        yield f"{what} is missing"
