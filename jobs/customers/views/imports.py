"""Bringing one's own file in: upload, preview with a choice for each column, confirm, report."""

from typing import Any, TextIO, cast

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers import services
from jobs.customers.domain.faults import UnreadableFile
from jobs.customers.domain.outfiles import ENCODING
from jobs.customers.errors import FileUnreadable
from jobs.customers.forms import MappingForm, UploadForm, date_order_of, mapping_of
from shared import clock
from shared.people.roles import office_required
from shared.web.htmx import render_page


@require_http_methods(["GET", "POST"])
@office_required
def import_start(request: HttpRequest) -> HttpResponse:
    """Take a file in, and go on to what it would do."""
    form = UploadForm(request.POST or None, request.FILES or None, initial={"kind": "customers"})
    if request.method == "POST" and form.is_valid():
        services.uploads_sweep(now=clock.now())
        token = services.upload_store(chunks=form.cleaned_data["file"].chunks())
        return redirect("customers:import_preview", kind=form.cleaned_data["kind"], token=token)
    return render(request, "customers/import_start.html", {"form": form}, status=422 if form.errors else 200)


@require_GET
@office_required
def import_preview(request: HttpRequest, kind: str, token: str) -> HttpResponse:
    """What the file would do, with the columns as chosen so far; nothing is changed."""
    preview = _preview(request, kind, token, request.GET)
    form = MappingForm(kind=kind, preview=preview, chosen=request.GET)
    context = {"kind": kind, "token": token, "preview": preview, "report": _told(preview.report), "form": form}
    return render_page(request, "customers/import_preview.html", context, part="import_preview")


@require_POST
@office_required
def import_confirm(request: HttpRequest, kind: str, token: str) -> HttpResponse:
    """Do it, remove the file, and show what was done."""
    with services.upload_open(token=token) as file:
        try:
            report = services.import_file(
                file,
                kind=_known(kind),
                mapping=mapping_of(request.POST, _header(file)),
                date_order=date_order_of(request.POST),
                dry_run=False,
                actor=request.user,
                corrections=services.corrections_path(token=token),
            )
        except UnreadableFile as error:
            raise FileUnreadable(str(error)) from error
    services.report_keep(token=token, report=report.as_json())
    services.upload_delete(token=token)
    return redirect("customers:import_done", token=token)


@require_GET
@office_required
def import_done(request: HttpRequest, token: str) -> HttpResponse:
    """What an import did."""
    context = {"report": services.report_kept(token=token), "token": token}
    return render(request, "customers/import_done.html", context)


@require_GET
@office_required
def import_corrections(request: HttpRequest, token: str) -> HttpResponse:
    """The refused rows, to be corrected and imported again."""
    path = services.corrections_path(token=token)
    if not path.exists():
        raise Http404
    response = HttpResponse(path.read_bytes(), content_type="text/csv")
    response["Content-Disposition"] = 'attachment; filename="corrections.csv"'
    return response


@require_GET
@office_required
def export(request: HttpRequest, kind: str) -> HttpResponse:
    """Customers or jobs as a file that the import reads back; wages for the owner only."""
    response = HttpResponse(content_type="text/csv", charset=ENCODING)
    response["Content-Disposition"] = f'attachment; filename="{_known(kind)}.csv"'
    file = cast("TextIO", _Answer(response))
    if kind == "jobs":
        services.export_jobs(file, with_wages=getattr(request.user, "is_owner", False))
    else:
        services.export_customers(file)
    return response


class _Answer:
    """The answer as a text file: its mark once at the start, then UTF-8."""

    def __init__(self, response: HttpResponse) -> None:
        self.response, self.encoding = response, ENCODING

    def write(self, text: str) -> int:
        self.response.write(text.encode(self.encoding))
        self.encoding = "utf-8"
        return len(text)


def _known(kind: str) -> str:
    if kind not in services.FIELDS:
        raise Http404
    return kind


def _header(file: Any) -> list[str]:
    return list(services.import_columns(file))


def _preview(request: HttpRequest, kind: str, token: str, chosen: QueryDict) -> services.Preview:
    with services.upload_open(token=token) as file:
        try:
            return services.import_preview(
                file,
                kind=_known(kind),
                mapping=mapping_of(chosen, _header(file)),
                date_order=date_order_of(chosen),
                actor=request.user,
            )
        except UnreadableFile as error:
            services.upload_delete(token=token)
            raise FileUnreadable(_("The file cannot be used. %(why)s") % {"why": error}) from error


def _told(report: services.ImportReport | None) -> dict[str, Any] | None:
    return report.as_json() if report else None
