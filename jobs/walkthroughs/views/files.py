"""Pictures and PDFs: only through views that looked at who asks."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from jobs.walkthroughs.models import Notice, NoticePrint, Photo
from jobs.walkthroughs.services import print_pdf, record_read
from jobs.walkthroughs.views.access import job_for, notice_for, photo_of
from shared.errors import NotFound
from shared.kept_files import file_read
from shared.people.roles import signed_in
from shared.web.answers import pdf_answer, private


def picture_answer(photo: Photo) -> HttpResponse:
    return private(HttpResponse(file_read(photo.file, photo.digest), content_type="image/jpeg"))


def print_answer(row: NoticePrint) -> HttpResponse:
    """The PDF as it was made."""
    return private(pdf_answer(print_pdf(row), name=f"notice-{row.notice_id}-{row.language}"))


def record_answer(notice: Notice) -> HttpResponse:
    """The record of who acknowledged a notice, as it was made. Raises NotFound where nobody did."""
    row = getattr(notice, "acknowledgement", None)
    if row is None or not row.record_file:
        raise NotFound(_("This notice is not acknowledged yet."))
    return private(pdf_answer(record_read(row), name=f"acknowledgement-{notice.pk}"))


@require_GET
@signed_in
def photo(request: HttpRequest, photo_id: int) -> HttpResponse:
    """One picture, for the office and for the crew whose stop it is."""
    row = Photo.objects.select_related("walkthrough").filter(pk=photo_id).first()
    if row is None:
        raise NotFound(_("There is no such picture."))
    job_for(user=request.user, job_id=row.walkthrough.job_id)
    return picture_answer(row)


@require_GET
@signed_in
def notice_picture(request: HttpRequest, notice_id: int, language: str, digest: str) -> HttpResponse:
    """A picture as a notice shows it."""
    return picture_answer(photo_of(notice=notice_for(user=request.user, pk=notice_id), digest=digest))


@require_GET
@signed_in
def notice_as_pdf(request: HttpRequest, notice_id: int, language: str) -> HttpResponse:
    """The stored PDF."""
    row = notice_for(user=request.user, pk=notice_id).prints.filter(language=language).first()
    if row is None:
        raise NotFound(_("There is no such language."))
    return print_answer(row)


@require_GET
@signed_in
def record(request: HttpRequest, notice_id: int) -> HttpResponse:
    """The stored record of the acknowledgement."""
    return record_answer(notice_for(user=request.user, pk=notice_id))
