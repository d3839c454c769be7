"""The weather of a planned day, as the office writes it down for the crews."""

from django.contrib import messages
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from routing.dispatch.forms import WeatherForm
from routing.dispatch.selectors.weather import day_weather
from routing.dispatch.services import day_weather_set
from routing.dispatch.weather_words import weather_words
from routing.plans.selectors import day_plan_by_id
from shared.people.roles import office_required


@require_http_methods(["GET", "POST"])
@office_required
def day(request: HttpRequest, plan_id: int) -> HttpResponse:
    """High, humidity, wind and thunder; every sheet and phone of the day says at once what that means."""
    plan = day_plan_by_id(plan_id=plan_id)
    row = day_weather(yard=plan.yard, work_date=plan.work_date)
    form = WeatherForm(request.POST or None, initial=model_to_dict(row) if row else None)
    if request.method == "POST" and form.is_valid():
        day_weather_set(yard=plan.yard, work_date=plan.work_date, actor=request.user, **form.cleaned_data)
        messages.success(request, _("Kept. The crews see it on their sheets and phones."))
        return redirect("dispatch:weather", plan_id=plan_id)
    context = {"plan": plan, "form": form, "weather": weather_words(row) if row else ()}
    return render(request, "dispatch/weather.html", context, status=422 if form.errors else 200)
