from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from pricing.minutes.selectors import calibration_get, model_list
from shared.people.roles import office_required


@require_GET
@office_required
def calibration(request: HttpRequest) -> HttpResponse:
    """Whether the last jobs took as long as was expected of them beforehand."""
    context = {"calibration": calibration_get(), "model": model_list().first()}
    return render(request, "minutes/calibration.html", context)
