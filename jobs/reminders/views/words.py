"""The owner's own sentences."""

from itertools import product
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from jobs.customers.models import Language
from jobs.reminders.domain.own_words import FIELDS
from jobs.reminders.forms import OwnWordsForm, WordsFor
from jobs.reminders.own_words import causes_of, kinds_to_write_about, own_words_book, own_words_preview, own_words_set
from jobs.reminders.wording import cause_words
from shared import clock
from shared.errors import WalldayError
from shared.outbox.models import Channel
from shared.people.roles import office_required
from shared.web.present import today_here


@require_http_methods(["GET", "POST"])
@office_required
def words(request: HttpRequest) -> HttpResponse:
    """The sentence about each kind of due thing, ours or the owner's, as a customer would read it."""
    kinds = kinds_to_write_about()
    wish = WordsFor(request.GET or None, kinds=kinds)
    chosen = wish.cleaned_data if wish.is_bound and wish.is_valid() else {"kind": kinds[0][0] if kinds else ""}
    kind, language = chosen["kind"], chosen.get("language", Language.ENGLISH.value)
    sent = OwnWordsForm(request.POST) if request.method == "POST" else None
    problem = _keep_words(request, kind, language, sent) if sent else ""
    if sent and not problem and "keep" in request.POST:
        return redirect(f"{reverse('reminders:words')}?kind={kind}&language={language}")
    context = {
        "wish": wish if wish.is_bound else WordsFor(kinds=kinds, initial={"kind": kind, "language": language}),
        "entries": _word_entries(kind, language, sent, problem) if kinds else [],
        "address": request.get_full_path(),
    }
    return render(request, "reminders/words.html", context, status=422 if problem else 200)


def _keep_words(request: HttpRequest, kind: str, language: str, sent: OwnWordsForm) -> str:
    """Keep what the owner wrote, unless it is only to be shown; what is wrong with it, in words."""
    if not sent.is_valid():
        return str(_("The words are too long, or the form is not whole."))
    if "keep" not in request.POST:
        return ""
    if not request.user.is_owner:  # type: ignore[union-attr]
        raise PermissionDenied
    try:
        own_words_set(kind=kind, language=language, actor=request.user, now=clock.now(), **sent.cleaned_data)
    except WalldayError as error:
        return error.message
    messages.success(request, _("Saved."))
    return ""


def _word_entries(kind: str, language: str, sent: OwnWordsForm | None, problem: str) -> list[dict[str, Any]]:
    """For each cause and channel: the form, what may be filled in, and the message with the words of the form."""
    book, entries = own_words_book(), []
    given = sent.cleaned_data if sent and sent.is_valid() else {}
    for cause, channel in product(causes_of(kind), Channel.values):
        is_sent = (given.get("cause"), given.get("channel")) == (cause.value, channel)
        text = given["words"] if is_sent else book.get((kind, cause.value, language, channel), "")
        draft = own_words_preview(
            kind=kind, cause=cause, language=language, channel=channel, words=text, today=today_here()
        )  # fmt: skip
        initial = {"cause": cause.value, "channel": channel, "words": text}
        entries.append(
            {
                "title": f"{cause_words(cause)}, {Channel(channel).label}",
                "form": OwnWordsForm(initial=initial, auto_id=f"id_{cause.value}_{channel}_%s"),
                "fields": [f"{{{name}}}" for name in FIELDS[cause]],
                "draft": draft,
                "problem": problem if is_sent else "",
            }
        )
    return entries
