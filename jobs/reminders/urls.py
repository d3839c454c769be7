"""Addresses of this room's pages."""

from django.urls import path

from jobs.reminders import views

app_name = "reminders"
urlpatterns = [
    path("due/", views.due_page, name="due_list"),
    path("due/preview/", views.preview, name="preview"),
    path("due/queue/", views.queue, name="queue"),
    path("due/words/", views.words, name="words"),
    path("due/rules/", views.rules, name="rules"),
    path("due/proposal/", views.proposal, name="proposal"),
    path("due/brought/", views.brought_page, name="brought"),
    path("due/brought/file/", views.brought_file, name="brought_file"),
    path("due/brought/holding-back/", views.holding_back, name="holding_back"),
    path("due/answers/", views.answers, name="answers"),
    path("due/answers/settings/", views.answer_settings, name="answer_settings"),
    path("due/holds/<row:hold_id>/end/", views.hold_end, name="hold_end"),
    path("a/<str:token>/", views.answer, name="answer"),
    path("texts/", views.texts, name="texts"),
    path("texts/<row:text_id>/read/", views.text_read, name="text_read"),
    path("hooks/texts/", views.text_hook, name="text_hook"),
    path("opt-out/<str:token>/", views.opt_out, name="opt_out"),
]
