"""Addresses of this room's pages."""

from datetime import date

from django.urls import path, register_converter

from routing.plans import views
from routing.plans.choices import FIRST_DAY, LAST_DAY


class IsoDay:
    """`<day:work_date>`: a date as ISO 8601 writes it, among those that can be planned."""

    regex = "[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        day = date.fromisoformat(value)
        if not FIRST_DAY <= day <= LAST_DAY:
            raise ValueError(f"{value} is not among the days that can be planned.")
        return day

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
    path("day-plans/<row:plan_id>/replan/", views.replan, name="replan"),
    path("week/<slug:yard_code>/<day:first_day>/", views.week, name="week"),
    path("week/<slug:yard_code>/<day:first_day>/make/", views.week_make, name="week_make"),
    path("week-plans/<row:week_id>/", views.week_progress, name="week_progress"),
    path("week-plans/<row:week_id>/take-over/", views.week_take_over, name="week_take_over"),
    path("drives/", views.drives, name="drives"),
    path("drives/<slug:yard_code>/use/", views.drives_use, name="drives_use"),
    path("crews/", views.crew_list, name="crew_list"),
    path("crews/<slug:crew_code>/<day:work_date>/usual/", views.crew_usual_hours, name="crew_usual_hours"),
]
