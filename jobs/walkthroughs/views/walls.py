"""The chalk of one wall: its readings, and a new one."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from jobs.customers.models import Wall
from jobs.walkthroughs.forms import ReadingForm
from jobs.walkthroughs.selectors import reading_list
from jobs.walkthroughs.services import reading_record
from shared import clock
from shared.errors import Refused
from shared.people.roles import office_required
from shared.web.present import company_now


@require_http_methods(["GET", "POST"])
@office_required
def wall(request: HttpRequest, wall_id: int) -> HttpResponse:
    """The history of readings; the office enters one here, the crew on its phone."""
    found = Wall.objects.select_related("property__customer").filter(pk=wall_id).first()
    if found is None:
        raise Http404
    today = clock.local_date(company_now().timezone, clock.now())
    form = ReadingForm(request.POST or None, initial={"read_on": today})
    if request.method == "POST" and form.is_valid():
        try:
            reading_record(wall=found, today=today, actor=request.user, **form.cleaned_data)
            messages.success(request, _("The reading is written down."))
            return redirect("walkthroughs:wall", wall_id=wall_id)
        except Refused as error:
            form.add_error("read_on", error.message)
    context: dict[str, Any] = {"wall": found, "readings": reading_list(wall=found), "form": form}
    return render(request, "walkthroughs/wall.html", context, status=422 if form.errors else 200)
