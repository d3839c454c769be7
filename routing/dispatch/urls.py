"""Addresses of this room's pages."""

from django.urls import path, re_path

from routing.dispatch.views import crew, office, reckoner, weather, work

app_name = "dispatch"
urlpatterns = [
    path("day-plans/<row:plan_id>/send-out/", office.send_out, name="send_out"),
    path("day-plans/<row:plan_id>/sent/", office.sent, name="sent"),
    path("day-plans/<row:plan_id>/tell/", office.tell, name="tell"),
    path("day-plans/<row:plan_id>/telling/", office.telling, name="telling"),
    path("day-plans/<row:plan_id>/weather/", weather.day, name="weather"),
    path("sheets/<row:route_id>/", office.sheet, name="sheet"),
    path("sheets/<row:route_id>.pdf", office.sheet_as_pdf, name="sheet_pdf"),
    path("sheets/<row:route_id>/mix/", work.mix_sheet, name="mix_sheet"),
    path("sheets/<row:route_id>/mix.pdf", work.mix_sheet_as_pdf, name="mix_sheet_pdf"),
    path("trucks/", work.trucks, name="trucks"),
    path("trucks/<slug:truck_code>/", work.truck, name="truck"),
    path("crew/reckon/", reckoner.reckoner, name="reckoner"),
    path("crews/<slug:crew_code>/calendar/", office.feed_new, name="feed_new"),
    re_path(r"^calendar/(?P<token>[A-Za-z0-9_-]{1,64})\.ics$", office.calendar, name="calendar"),
    path("crew/", crew.today, name="crew_today"),
    path("crew/routes/<row:sent_route_id>.pdf", crew.sheet_as_pdf, name="crew_sheet"),
    path("crew/routes/<row:sent_route_id>/mix.pdf", work.crew_mix_sheet_as_pdf, name="crew_mix_sheet"),
    path("crew/stops/<row:stop_id>/work/", work.instructions, name="crew_work"),
    path("crew/stops/<row:stop_id>/work/<slug:kind>/", work.entry, name="crew_entry"),
    path("crew/stops/<row:stop_id>/finish/", crew.finish, name="crew_finish"),
    path("crew/stops/<row:stop_id>/coming/", crew.coming, name="crew_coming"),
    path("crew/stops/<row:stop_id>/<slug:kind>/", crew.mark, name="crew_mark"),
]
