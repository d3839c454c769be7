"""One customer's reminder, word for word: the preview shows it, the queue stores it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from jobs.customers.models import Language
from jobs.reminders.domain.due import CHALK, Cause, ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.domain.kept_cause import kind_of
from jobs.reminders.domain.lint import Finding, Sender, lint
from jobs.reminders.domain.own_words import fill
from jobs.reminders.links import answer_link, one_click_headers, opt_out_link
from jobs.reminders.selectors import DueItem
from jobs.reminders.wording import (
    date_words,
    finding_words,
    lower_first,
    month_words,
    reading_words,
    short_month_words,
    wall_words,
)
from pricing.catalogue.models import Service
from shared.company.models import Company
from shared.outbox.channels import way_out
from shared.outbox.domain.sms import SmsCount, in_cheap_letters, sms_count
from shared.outbox.models import Channel
from shared.web.words import phone_words


@dataclass(frozen=True)
class Draft:
    """A message before it is queued, and what is wrong with it. `sms` is None for mail."""

    customer_id: int
    customer_name: str
    channel: str
    recipient: str
    language: str
    subject: str
    body: str
    headers: dict[str, str]
    items: tuple[DueItem, ...]
    findings: tuple[Finding, ...]
    sms: SmsCount | None
    also_due: tuple[DueItem, ...] = ()

    @property
    def refusals(self) -> list[Finding]:
        return [finding for finding in self.findings if not finding.is_warning]

    @property
    def finding_texts(self) -> list[str]:
        return [finding_words(finding) for finding in self.findings]


OwnWordsBook = Mapping[tuple[str, str, str, str], str]
"""The owner's sentences by kind, cause, language and channel."""


def compose(
    items: Sequence[DueItem],
    company: Company,
    *,
    today: date,
    also_due: Sequence[DueItem] = (),
    own_words: OwnWordsBook = MappingProxyType({}),
) -> Draft:
    """The message about `items`: all of one customer, all with the same channel, at least one.

    `also_due` is what could be written about as well and was not chosen; it is shown to the office only. Where the
    owner wrote a sentence of their own and all that it names is known, it stands in place of ours.
    """
    first = items[0]
    language = first.language if first.language in Language.values else Language.ENGLISH.value
    link = opt_out_link(first.customer_id, first.channel)
    context = _context(items, language, company, link, today)
    for fact, item in zip(context["due"], items, strict=True):
        fact["own_words"] = _own_words(fact, item, language, own_words)
    if first.channel == Channel.TEXT:
        context |= _in_cheap_letters(context)
        link = context["answer_link"]
    subject = _render("subject", language, context) if first.channel == Channel.EMAIL else ""
    body = _render(first.channel, language, context)
    sms = sms_count(body) if first.channel == Channel.TEXT else None
    findings = lint(
        subject, body, channel=first.channel, opt_out_link=link,
        sms_parts=sms.parts if sms else 0, sender=_sender(company, first.channel),
    )  # fmt: skip
    return Draft(
        customer_id=first.customer_id,
        customer_name=first.customer_name,
        channel=first.channel,
        recipient=first.recipient,
        language=language,
        subject=subject[:200],
        body=body,
        headers=one_click_headers(link) if first.channel == Channel.EMAIL else {},
        items=tuple(items),
        findings=tuple(findings),
        sms=sms,
        also_due=tuple(also_due),
    )


def _render(part: str, language: str, context: dict[str, Any]) -> str:
    """A template of the language; ends of lines are trimmed, a subject is one line."""
    text = render_to_string(f"reminders/messages/{language}/{part}.txt", context)
    lines = [line.rstrip() for line in text.strip().splitlines()]
    return " ".join(lines) if part != Channel.EMAIL else "\n".join(lines) + "\n"


def _context(items: Sequence[DueItem], language: str, company: Company, link: str, today: date) -> dict[str, Any]:
    names = _names(items, language)
    streets = list(dict.fromkeys(item.street for item in items))
    return {
        "company_name": company.name,
        "postal_address": company.postal_address,
        "phone": phone_words(company.phone_e164, company.country) if company.phone_e164 else "",
        "customer_name": items[0].customer_name,
        "street": streets[0] if len(streets) == 1 else "",
        "titles": list(dict.fromkeys(names[item.kind] for item in items)),
        "due": [_facts(item, names[item.kind], language, today) for item in items],
        "answer_link": answer_link(items[0].customer_id, today),
        "opt_out_link": link,
    }


def _own_words(fact: dict[str, Any], item: DueItem, language: str, book: OwnWordsBook) -> str:
    words = book.get((item.kind, kind_of(item.cause).value, language, item.channel), "")
    if item.channel == Channel.TEXT:
        words = in_cheap_letters(words)
    known = {
        "service": fact["name"], "street": fact["street"], "customer": item.customer_name, "due": fact["due_on"],
        "last_done": fact.get("last_done_on", ""), "every_months": fact.get("months", ""), "wall": fact.get("wall", ""),
        "reading": fact.get("reading", ""), "read_on": fact.get("read_on", ""), "limit": fact.get("limit", ""),
        "passes": fact.get("passes", ""), "earliest": fact.get("early", ""), "latest": fact.get("late", ""),
    }  # fmt: skip
    return fill(words, {name: str(value) for name, value in known.items()})


def _in_cheap_letters(context: dict[str, Any]) -> dict[str, Any]:
    """Our own words in the alphabet that a text message pays least for; names and streets stay as they are."""
    due = [fact | {"wall": in_cheap_letters(fact.get("wall", ""))} for fact in context["due"]]
    return {"titles": [in_cheap_letters(title) for title in context["titles"]], "due": due}


def _names(items: Sequence[DueItem], language: str) -> dict[str, str]:
    """What each kind is called in the customer's language, as it stands inside a sentence."""
    names = {item.kind: item.service_name for item in items}
    if language == Language.SPANISH:
        offered = Service.objects.filter(is_offered=True).exclude(name_es="").order_by("-id")
        for service in offered:
            kinds = [service.code, CHALK] if service.removes_chalk else [service.code]
            names |= {kind: service.name_es for kind in kinds if kind in names}
    return {kind: lower_first(name) for kind, name in names.items()}


def _facts(item: DueItem, name: str, language: str, today: date) -> dict[str, Any]:
    """What a template says about one due thing; only facts of this property."""
    facts: dict[str, Any] = {
        "name": name,
        "street": item.street,
        "due_on": date_words(item.due_on, language),
        "is_past": item.due_on < today,
    }
    fact = item.cause.fact
    if isinstance(fact, IntervalFact):
        facts["months"] = fact.interval_months
        facts["last_done_on"] = date_words(fact.last_done_on, language) if fact.last_done_on else ""
        return facts
    return facts | _chalk_facts(fact, item.cause, language)


def _chalk_facts(wall: ReadingFact | ForecastFact, cause: Cause, language: str) -> dict[str, Any]:
    """The wall that was read worst, or the one that is expected to pass the limit first."""
    facts = {
        "wall": wall_words(wall, language),
        "reading": reading_words(wall.reading),
        "read_on": date_words(wall.read_on, language),
        "read_in": short_month_words(wall.read_on, language),
        "more_walls": cause.more_walls,
        "limit": reading_words(cause.limit),
    }
    if isinstance(wall, ForecastFact):
        days = {"passes": wall.passes_on, "early": wall.early_on, "late": wall.late_on}
        facts |= {name: month_words(day, language) for name, day in days.items()}
        facts["passes_in"] = short_month_words(wall.passes_on, language)
    return facts


def _sender(company: Company, channel: str) -> Sender:
    return Sender(
        name=company.name,
        postal_address=company.postal_address,
        phone=company.phone_e164,
        email=company.email,
        site_url=settings.WALLDAY_SITE_URL,
        leaves_by_internet=way_out(channel) != "folder",
    )
