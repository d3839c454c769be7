"""Addresses of this room's pages."""

from django.urls import path, re_path

from pricing.estimates.views import changes, files, homeowner, pages

LANGUAGE = "(?P<language>en|es)"
TOKEN = r"(?P<token>[A-Za-z0-9_:=-]{1,120})"  # noqa: S105  a pattern, no secret

app_name = "estimates"
urlpatterns = [
    path("estimates/", pages.estimates, name="estimate_list"),
    path("estimates/<row:estimate_id>/", pages.estimate, name="estimate_page"),
    path("estimates/<row:estimate_id>/change/", changes.change, name="change"),
    path("estimates/<row:estimate_id>/send/", changes.send, name="send"),
    path("estimates/<row:estimate_id>/take-back/", changes.take_back, name="take_back"),
    path("estimates/<row:estimate_id>/told/", changes.told, name="told"),
    path("estimates/<row:estimate_id>/sent/<row:revision>/<slug:language>/", files.sent, name="sent"),
    path("estimates/<row:estimate_id>/sent/<row:revision>/<slug:language>.pdf", files.sent_pdf, name="sent_pdf"),
    path("jobs/<row:job_id>/estimates/new/", pages.new_for_job, name="new_for_job"),
    path("properties/<row:property_id>/estimates/new/", pages.new_for_property, name="new_for_property"),
    re_path(rf"^estimate/{TOKEN}/$", homeowner.opened, name="opened"),
    re_path(rf"^estimate/{TOKEN}/{LANGUAGE}/$", homeowner.shown, name="shown"),
    re_path(rf"^estimate/{TOKEN}/{LANGUAGE}/decline/$", homeowner.declined, name="declined"),
    re_path(rf"^estimate/{TOKEN}/{LANGUAGE}/estimate\.pdf$", homeowner.as_pdf, name="pdf"),
]
