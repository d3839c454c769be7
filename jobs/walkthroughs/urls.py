"""Addresses of this room's pages."""

from django.urls import path, re_path

from jobs.walkthroughs.views import crew, files, homeowner, office, walls

DIGEST = "(?P<digest>[0-9a-f]{64})"
LANGUAGE = "(?P<language>en|es)"
TOKEN = r"(?P<token>[A-Za-z0-9_:=-]{1,120})"  # noqa: S105  a pattern, no secret

app_name = "walkthroughs"
urlpatterns = [
    path("walls/<row:wall_id>/", walls.wall, name="wall"),
    path("jobs/<row:job_id>/start-anyway/", office.start_anyway, name="start_anyway"),
    path("notices/<row:notice_id>/difference/", office.difference, name="difference"),
    path("walkthroughs/<row:walkthrough_id>/removal/", office.removal, name="removal"),
    path("walkthroughs/photos/<row:photo_id>/", files.photo, name="photo"),
    path("crew/worker.js", crew.worker, name="worker"),
    path("crew/walkthrough/<row:job_id>/", crew.walkthrough, name="crew_walkthrough"),
    path("crew/walkthrough/<row:job_id>/notice/", crew.notice_new, name="crew_notice_new"),
    path("crew/notices/<row:notice_id>/nobody-home/", crew.nobody_home, name="nobody_home"),
    path("crew/notices/<row:notice_id>/acknowledgement.pdf", files.record, name="crew_record_pdf"),
    path("crew/notices/<row:notice_id>/<slug:language>/", crew.notice, name="crew_notice"),
    path("crew/notices/<row:notice_id>/<slug:language>.pdf", files.notice_as_pdf, name="crew_notice_pdf"),
    path(
        "crew/notices/<row:notice_id>/<slug:language>/pictures/<slug:digest>/",
        files.notice_picture,
        name="crew_notice_picture",
    ),
    re_path(rf"^notice/{TOKEN}/$", homeowner.notice_open, name="notice_open"),
    re_path(rf"^notice/{TOKEN}/{LANGUAGE}/$", homeowner.notice, name="notice"),
    re_path(rf"^notice/{TOKEN}/{LANGUAGE}/notice\.pdf$", homeowner.as_pdf, name="notice_pdf"),
    re_path(rf"^notice/{TOKEN}/{LANGUAGE}/acknowledgement\.pdf$", homeowner.record, name="record_pdf"),
    re_path(rf"^notice/{TOKEN}/{LANGUAGE}/pictures/{DIGEST}/$", homeowner.picture, name="notice_picture"),
]
