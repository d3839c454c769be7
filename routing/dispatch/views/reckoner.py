"""Mixes, nozzles, heat, thunder, ladders and lines from figures alone; stores nothing."""

from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from jobs.mixing.domain.strength import CannotMix
from jobs.mixing.words import reason_words
from routing.dispatch.forms import MixQuestionForm
from routing.dispatch.reckoner import MixSum, mix_sum, reckoned
from shared import clock
from shared.people.roles import signed_in
from shared.web.navigation import frame_of
from shared.web.present import company_now


@require_GET
@signed_in
def reckoner(request: HttpRequest) -> HttpResponse:
    """Each sum answers in its own part of the page."""
    is_asked = any(name.startswith("mix-") for name in request.GET)
    form = MixQuestionForm(request.GET if is_asked else None, prefix="mix")
    now = clock.now().astimezone(ZoneInfo(company_now().timezone))
    context = {
        "form": form,
        "mix": _answer(form) if form.is_valid() else None,
        "parts": reckoned(request.GET, minute_now=now.hour * 60 + now.minute),
        "frame": frame_of(request),
    }
    return render(request, "dispatch/reckoner.html", context)


def _answer(form: MixQuestionForm) -> MixSum:
    try:
        return mix_sum(form.question, form.cleaned_data["surface"])
    except CannotMix as error:
        return MixSum(refused=reason_words(error.reason))
