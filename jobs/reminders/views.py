from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.customers.domain.outfiles import ENCODING
from jobs.customers.models import Customer, Language
from jobs.reminders.answers import (
    Offer,
    answer_settings_get,
    answer_settings_set,
    answer_take,
    due_hold_end,
    offer_get,
    written_by,
)
from jobs.reminders.brought import Brought, brought, brought_csv
from jobs.reminders.domain.answers import ASK_AGAIN_MONTHS, days_to_offer
from jobs.reminders.domain.due import CHALK
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.domain.own_words import FIELDS
from jobs.reminders.drafting import MOST_AT_ONCE
from jobs.reminders.forms import (
    DEFAULT_WEEKS,
    AnswerForm,
    AnswerSettingsForm,
    DueFilter,
    HoldingBackForm,
    OptOutForm,
    OwnWordsForm,
    TextReadForm,
    WeeksForm,
    WordsFor,
)
from jobs.reminders.holding import holding_back_get, holding_back_set
from jobs.reminders.inbound import inbound_text_read, inbound_text_take
from jobs.reminders.links import answer_sender, answer_target, opt_out_target, opt_out_token
from jobs.reminders.listing import DueSheet
from jobs.reminders.marks import marks_of
from jobs.reminders.own_words import (
    causes_of,
    kinds_to_write_about,
    own_words_book,
    own_words_preview,
    own_words_set,
)
from jobs.reminders.proposal import DueProposal, Room, due_proposal, rates_in_words
from jobs.reminders.rules import RULES
from jobs.reminders.selectors import (
    answer_list,
    hold_list,
    inbound_text_get,
    inbound_texts,
)
from jobs.reminders.services import opt_out_record, reminder_preview, reminders_queue
from jobs.reminders.wording import cause_words
from pricing.catalogue.models import Service
from routing.plans.selectors.detours import added_minutes
from routing.plans.selectors.near import days_near, free_minutes, undated_minutes
from shared import clock
from shared.api_kit.hooks import signed_hook
from shared.errors import WalldayError
from shared.outbox.channels import way_out
from shared.outbox.models import Channel
from shared.outbox.selectors import sending_switch_get
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here

PER_PAGE = 50


@require_GET
@office_required
def due_page(request: HttpRequest) -> HttpResponse:
    """Who is due and why, and whether they may be written to now."""
    form, sheet = _shown(request.GET)
    page = Paginator(sheet, PER_PAGE).get_page(request.GET.get("page"))
    lines = list(page.object_list)
    context = {
        "form": form,
        "page": page,
        "lines": list(enumerate(lines, page.start_index())),
        "marks": marks_of(lines, first=page.start_index()),
        "without_place": sum(item.place is None for item in lines),
        "sheet": sheet,
        "most": MOST_AT_ONCE,
        "unread_texts": inbound_texts(unread_only=True).count(),
        "today": today_here(),
    }
    return render(request, "reminders/due.html", context)


@require_GET
@office_required
def proposal(request: HttpRequest) -> HttpResponse:
    """Who should hear now, so that the answers fill the crews' free hours and no more."""
    form = WeeksForm(request.GET or None)
    wish = form.cleaned_data if form.is_bound and form.is_valid() else {"weeks": DEFAULT_WEEKS}
    found = proposal_of(**wish)
    context = {"found": found, "weeks": wish["weeks"], "form": form, "rates": rates_in_words(found.rates)}
    return render(request, "reminders/proposal.html", context, status=422 if form.errors else 200)


def proposal_of(*, weeks: int, keep_hours: int | None = None) -> DueProposal:
    """The proposal for the coming weeks, with the room that plans, agreed work and the hours to keep leave."""
    today, kept = today_here(), 60 * (keep_hours or 0)
    now, then = (
        Room(free_minutes(today=today, weeks=ahead), undated_minutes(today=today, weeks=ahead), kept)
        for ahead in (weeks, weeks + 1)
    )
    return due_proposal(
        today=today,
        now=clock.now(),
        room=replace(now, later=max(0, then.minutes - now.minutes)),
        detours=lambda places: added_minutes(places=places, today=today, weeks=weeks),
    )


@require_GET
@office_required
def rules(request: HttpRequest) -> HttpResponse:
    """Law and manners, with their sources and the day on which they were checked."""
    return render(request, "reminders/rules.html", {"rules": RULES})


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


@require_GET
@office_required
def brought_page(request: HttpRequest) -> HttpResponse:
    """What reminders brought beyond what comes anyway."""
    found = brought(now=clock.now())
    context = {
        "found": found,
        "chart": _gain_rows(found),
        "form": HoldingBackForm(instance=holding_back_get()),
        "days": ANSWERED_WITHIN.days,
    }
    return render(request, "reminders/brought.html", context)


@require_GET
@office_required
def brought_file(request: HttpRequest) -> HttpResponse:
    """The same as a file for a spreadsheet."""
    answer = HttpResponse(brought_csv(brought(now=clock.now())), content_type="text/csv", charset=ENCODING)
    answer["Content-Disposition"] = f'attachment; filename="reminders-brought-{today_here()}.csv"'
    return answer


def _gain_rows(found: Brought) -> list[dict[str, Any]]:
    """The campaigns whose gain is known, for the chart."""
    return [
        {
            "label": date_format(row.campaign, "F Y") if row.campaign else _("All"),
            "value": row.gain.value,
            "low": row.gain.low,
            "high": row.gain.high,
            "note": _("not enough to tell") if row.gain.low <= 0 <= row.gain.high else "",
        }
        for row in (*found.campaigns, found.total)
        if row.gain
    ]


@require_POST
@owner_required
def holding_back(request: HttpRequest) -> HttpResponse:
    """How many are held back from now on."""
    form = HoldingBackForm(request.POST, instance=holding_back_get())
    if form.is_valid():
        holding_back_set(percent=form.cleaned_data["percent"], actor=request.user)
        messages.success(request, _("Saved."))
    else:
        messages.error(request, str(form.errors["percent"][0]))
    return redirect("reminders:brought")


@require_POST
@office_required
def preview(request: HttpRequest) -> HttpResponse:
    """Exactly what each person would get, before anything is queued."""
    keys = _all_ready(request.POST) if "all" in request.POST else request.POST.getlist("key")
    if not keys:
        messages.warning(request, _("Choose at least one line first."))
        return redirect("reminders:due_list")
    found = reminder_preview(keys=keys, now=clock.now())
    good = [draft for draft in found.drafts if not draft.refusals]
    context = {
        "found": found,
        "good": len(good),
        "good_keys": " ".join(item.key for draft in (*good, *found.held_back) for item in draft.items),
        "switch": sending_switch_get(),
        "to_folder": {channel: way_out(channel) == "folder" for channel in Channel.values},
    }
    return render(request, "reminders/preview.html", context)


@require_POST
@office_required
def queue(request: HttpRequest) -> HttpResponse:
    """Queue what was seen in the preview, but for those who are held back."""
    keys, hold_back = request.POST.get("keys", "").split(), "everyone" not in request.POST
    result = reminders_queue(keys=keys, actor=request.user, now=clock.now(), hold_back=hold_back)
    count = len(result.message_ids)
    if count:
        said = ngettext("%(count)s message is queued.", "%(count)s messages are queued.", count)
        messages.success(request, said % {"count": count})
    if result.held_back:
        said = ngettext("%(count)s customer is held back.", "%(count)s customers are held back.", result.held_back)
        messages.info(request, said % {"count": result.held_back})
    for skip in result.skipped[:5]:
        messages.warning(request, _("Left out: %(why)s") % {"why": skip.reason})
    return redirect("outbox:message_list" if count else "reminders:due_list")


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """The homeowner's page of a reminder. Looking at it changes nothing; the form answers, once."""
    today, stop_path = today_here(), _stop_path(token)
    try:
        customer_id, written_on = answer_target(token, today=today)
        offer = offer_get(customer_id=customer_id, written_on=written_on)
    except WalldayError as error:
        over = {"words": error.message, "stop_path": stop_path}
        return render(request, "reminders/answer_over.html", over, status=error.status)
    with translation.override(offer.customer.language):
        form = AnswerForm(request.POST or None)
        status, problem = _answered(form, offer, today) if request.method == "POST" else (200, "")
        offer = offer_get(customer_id=customer_id, written_on=written_on)
        context = {"form": form, "problem": problem, "stop_path": stop_path, **_offered(offer, today)}
        return render(request, "reminders/answer.html", context, status=status)


def _offered(offer: Offer, today: date) -> dict[str, Any]:
    """What the page shows of an offer: no days where it is answered."""
    days = [] if offer.answer else days_near(place=offer.places[0], today=today)
    return {
        "offer": offer,
        "days": days_to_offer(days, needed_minutes=offer.minutes),
        "months": ASK_AGAIN_MONTHS,
        "some_unpriced": any(thing.line is None for thing in offer.things),
    }


def _free_days(offer: Offer, today: date) -> list[date]:
    """Every day into which the work fits: one that was offered counts as long as there is room."""
    near = days_near(place=offer.places[0], today=today)
    return [day.work_date for day in near if day.free_minutes >= offer.minutes]


def _stop_path(token: str) -> str:
    """Where the person stops our messages: it works however old the answer's link is, and for no altered one."""
    try:
        customer_id, written_on = answer_sender(token)
    except WalldayError:
        return ""
    channel = written_by(customer_id=customer_id, written_on=written_on)
    return reverse("reminders:opt_out", args=[opt_out_token(customer_id, channel)])


def _answered(form: AnswerForm, offer: Offer, today: date) -> tuple[int, str]:
    """Take the answer; the status and what to say where it could not be taken."""
    if not form.is_valid():
        return 422, str(_("Choose one of the answers."))
    try:
        answer_take(offer=offer, answer=form.answer, free_days=lambda: _free_days(offer, today), now=clock.now())
    except WalldayError as error:
        return error.status, error.message
    return 200, ""


@require_POST
@owner_required
def answer_settings(request: HttpRequest) -> HttpResponse:
    """What a yes becomes."""
    form = AnswerSettingsForm(request.POST)
    if form.is_valid():
        answer_settings_set(makes=form.cleaned_data["makes"], actor=request.user)
        messages.success(request, _("Saved."))
    return redirect("reminders:answers")


@require_GET
@office_required
def answers(request: HttpRequest) -> HttpResponse:
    """What homeowners answered, newest first, and what a yes becomes."""
    page = Paginator(answer_list(), PER_PAGE).get_page(request.GET.get("page"))
    form = AnswerSettingsForm(instance=answer_settings_get())
    return render(request, "reminders/answers.html", {"page": page, "form": form, "holds": hold_list()[:PER_PAGE]})


@require_POST
@office_required
def hold_end(request: HttpRequest, hold_id: int) -> HttpResponse:
    """Let a property be reminded again."""
    due_hold_end(hold_id=hold_id, actor=request.user)
    messages.success(request, _("Noted."))
    return redirect("reminders:answers")


@require_GET
@office_required
def texts(request: HttpRequest) -> HttpResponse:
    """Texts that came in; those that nobody has read stand first."""
    page = Paginator(inbound_texts(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "reminders/texts.html", {"page": page})


@require_POST
@office_required
def text_read(request: HttpRequest, text_id: int) -> HttpResponse:
    """Somebody read it: put it away, or write down that the person wants no more."""
    text, form = inbound_text_get(pk=text_id), TextReadForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The note is too long."))
        return redirect("reminders:texts")
    try:
        inbound_text_read(text=text, actor=request.user, now=clock.now(), **form.cleaned_data)
    except WalldayError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("Noted."))
    return redirect("reminders:texts")


@signed_hook
def text_hook(event: str, body: dict[str, Any]) -> None:
    """A text came in: `{"from": "+1...", "text": "..."}`."""
    inbound_text_take(event=event, sender=str(body.get("from", "")), body=str(body.get("text", "")), at=clock.now())


@csrf_exempt  # RFC 8058: the mailbox posts without ever having loaded a page; the signed address is the key
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def opt_out(request: HttpRequest, token: str) -> HttpResponse:
    """The homeowner's page. Looking at it changes nothing; sending the form, or one click in the mailbox, does."""
    target = opt_out_target(token)
    customer = Customer.objects.filter(pk=target[0]).first() if target else None
    if target is None or customer is None:
        raise Http404
    with translation.override(customer.language):
        done = _opt_out(request, customer, target[1]) if request.method == "POST" else ""
        context = {"channel": target[1], "done": done, "address": _masked(customer, target[1])}
        return render(request, "reminders/opt_out.html", context)


def _opt_out(request: HttpRequest, customer: Customer, channel: Channel) -> str:
    form = OptOutForm(request.POST)
    everything = form.is_valid() and form.cleaned_data["scope"] == "all"
    one_click = request.POST.get("List-Unsubscribe") == "One-Click"
    opt_out_record(
        customer=customer,
        channel=channel,
        everything=everything,
        wording=str(_("No messages of any kind") if everything else _("No more reminders")),
        source="one-click" if one_click else "opt-out page",
        now=clock.now(),
    )
    return "all" if everything else "reminder"


def _masked(customer: Customer, channel: Channel) -> str:
    """Enough of the address to know it by, not enough to read it: the link may be forwarded."""
    if channel == Channel.TEXT:
        return f"…{customer.phone_e164[-4:]}"
    name, _at, host = customer.email.partition("@")
    return f"{name[:1]}…@{host}" if host else "…"


def _shown(query: Any) -> tuple[DueFilter, DueSheet]:
    """The filter, and what it leaves of everything due."""
    form = DueFilter(query or None, kinds=_kinds())
    return form, DueSheet(today=today_here(), lead_days=form.lead, wish=form.wish)


def _all_ready(query: Any) -> list[str]:
    """The keys of what the filter leaves and may be reminded: the earliest of them, where there are too many."""
    return _shown(query)[1].ready_keys(most=MOST_AT_ONCE)


def _kinds() -> list[tuple[str, str]]:
    services = Service.objects.filter(is_offered=True, interval_months__isnull=False)
    return [(CHALK, _("chalk, read or expected")), *services.values_list("code", "name")]
