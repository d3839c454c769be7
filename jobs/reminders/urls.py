"""Addresses of this room's pages."""

from django.urls import path

from jobs.reminders.views import answers, brought, due, opting_out, proposing, texts, words

app_name = "reminders"
urlpatterns = [
    path("due/", due.due_page, name="due_list"),
    path("due/preview/", due.preview, name="preview"),
    path("due/queue/", due.queue, name="queue"),
    path("due/words/", words.words, name="words"),
    path("due/rules/", due.rules, name="rules"),
    path("due/proposal/", proposing.proposal, name="proposal"),
    path("due/brought/", brought.brought_page, name="brought"),
    path("due/brought/file/", brought.brought_file, name="brought_file"),
    path("due/brought/holding-back/", brought.holding_back, name="holding_back"),
    path("due/answers/", answers.answers, name="answers"),
    path("due/answers/settings/", answers.answer_settings, name="answer_settings"),
    path("due/holds/<row:hold_id>/end/", answers.hold_end, name="hold_end"),
    path("a/<str:token>/", answers.answer, name="answer"),
    path("texts/", texts.texts, name="texts"),
    path("texts/<row:text_id>/read/", texts.text_read, name="text_read"),
    path("hooks/texts/", texts.text_hook, name="text_hook"),
    path("opt-out/<str:token>/", opting_out.opt_out, name="opt_out"),
]
