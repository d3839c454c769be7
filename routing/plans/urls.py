"""Addresses of this room's pages."""

from datetime import date

from django.urls import path, register_converter

from routing.plans import views


class IsoDay:
    """`<day:work_date>`: a date as ISO 8601 writes it, of this century."""

    regex = "20[0-9]{2}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return value.isoformat()


register_converter(IsoDay, "day")

app_name = "plans"
urlpatterns = [
    path("", views.today, name="today"),
    path("day/", views.day_today, name="day_today"),
    path("day/<slug:yard_code>/<day:work_date>/", views.day, name="day"),
    path("day/<slug:yard_code>/<day:work_date>/make/", views.day_make, name="day_make"),
    path("plan-runs/<row:run_id>/", views.run, name="run"),
    path("day-plans/<row:plan_id>/change/", views.change, name="change"),
    path("crews/", views.crew_list, name="crew_list"),
    path("crews/<slug:crew_code>/<day:work_date>/usual/", views.crew_usual_hours, name="crew_usual_hours"),
]
