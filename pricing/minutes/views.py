from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from pricing.minutes.forms import MinutesChoiceForm
from pricing.minutes.selectors import calibration_get, minutes_choice_get, model_list
from pricing.minutes.services import minutes_choice_set
from shared.people.roles import office_required, owner_required


@require_GET
@office_required
def calibration(request: HttpRequest) -> HttpResponse:
    """Whether the last jobs took as long as was expected of them beforehand, and what routes reckon with."""
    return render(request, "minutes/calibration.html", _context())


@require_POST
@owner_required
def choose(request: HttpRequest) -> HttpResponse:
    """Choose which minutes routes reckon with, or show the form again with what is wrong."""
    form = MinutesChoiceForm(request.POST)
    if not form.is_valid():
        return render(request, "minutes/calibration.html", _context(form), status=422)
    minutes_choice_set(**form.cleaned_data, actor=request.user)
    messages.success(request, _("Plans reckon so from now on; plans that are there stay until they are made again."))
    return redirect("minutes:calibration")


def _context(form: MinutesChoiceForm | None = None) -> dict[str, Any]:
    choice = minutes_choice_get()
    return {
        "calibration": calibration_get(),
        "model": model_list().first(),
        "choice": choice,
        "form": form or MinutesChoiceForm(initial={"promised": choice.promised, "routes": choice.routes}),
    }
