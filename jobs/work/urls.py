"""Addresses of this room's pages."""

from django.urls import path

from jobs.work.views import changes, new, pages

app_name = "work"
urlpatterns = [
    path("jobs/", pages.jobs, name="job_list"),
    path("jobs/<row:job_id>/", pages.job, name="job_page"),
    path("jobs/<row:job_id>/days/", changes.days, name="job_days"),
    path("jobs/<row:job_id>/terms/", changes.terms, name="job_terms"),
    path("jobs/<row:job_id>/conditions/", changes.conditions, name="job_conditions"),
    path("jobs/<row:job_id>/return-visit/", changes.return_visit, name="job_return_visit"),
    path("jobs/<row:job_id>/book/", changes.book, name="job_book"),
    path("jobs/<row:job_id>/rinse-confirm/", changes.confirm_rinse, name="rinse_confirm"),
    path("jobs/<row:job_id>/refund/", changes.refund, name="job_refund"),
    path("jobs/<row:job_id>/visits/<row:visit_id>/correct/", changes.correct, name="visit_correct"),
    path("jobs/<row:job_id>/<slug:step>/", changes.step, name="job_step"),
    path("properties/<row:property_id>/jobs/new/", new.job_new, name="job_new"),
]
