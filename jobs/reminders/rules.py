"""The rules that messages to customers follow, each with its source, the day on which it was checked, and where it is
kept: the page shows them, and a test compares them with the modules that keep them. Not legal advice."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

CHECKED_ON = date(2026, 11, 25)
OURS = _("our own choice")


@dataclass(frozen=True)
class Rule:
    """`source` is a law or a standard, or says that the rule is our own; `kept_in` is the module that keeps it."""

    about: Promise
    does: Promise
    source: str | Promise
    kept_in: str
    checked_on: date = CHECKED_ON

    def as_json(self) -> dict[str, Any]:
        return {
            "about": str(self.about),
            "does": str(self.does),
            "source": str(self.source),
            "checked_on": self.checked_on.isoformat() if self.is_published else None,
        }

    @property
    def is_published(self) -> bool:
        return self.source is not OURS


RULES = (
    Rule(
        _("Mail that offers something"),
        _("Names the company, its postal address, that it is an offer, and the way out. Without them it is refused."),
        "15 USC 7704(a)(5)", "jobs.reminders.domain.lint",
    ),
    Rule(
        _("Mail to somebody who opted out"),
        _("Is not written, and what waits is dropped at once. The law allows ten business days."),
        "15 USC 7704", "jobs.reminders.domain.consent",
    ),
    Rule(
        _("Texts that offer something"),
        _("Go only to who agreed to texts; wording, time and source of the agreement are kept with the customer."),
        "47 CFR 64.1200(f)(9)", "jobs.reminders.domain.consent",
    ),
    Rule(
        _("Stop, in any wording"),
        _("Ends all texts at once, and every message where the person says all. What may be meant so holds reminders "
          "back until somebody reads it. The law allows ten business days."),
        "47 CFR 64.1200(a)(10)", "jobs.reminders.domain.replies",
    ),
    Rule(
        _("Confirming an opt-out"),
        _("One text within five minutes, which offers nothing, and no further one."),
        "47 CFR 64.1200(a)(12)", "jobs.reminders.inbound",
    ),
    Rule(
        _("One click in the mailbox"),
        _("Opts out without a sign-in. Looking at the page changes nothing. The link never ends."),
        "RFC 8058", "jobs.reminders.links",
    ),
    Rule(
        _("Hours"),
        _("From 8:00 am to 9:00 pm where the property is; for mail as well, as a matter of manners."),
        "47 CFR 64.1200(c)(1)", "shared.outbox.domain.quiet_hours",
    ),
    Rule(
        _("Messages about booked work"),
        _("Need no agreement by mail and go though reminders were ended, unless the person wants no message at all."),
        "15 USC 7702(17)", "jobs.reminders.domain.consent",
    ),
    Rule(
        _("Claims"),
        _("A message that promises to kill, prevent or control what grows is refused: that is a claim of a pesticide."),
        "7 USC 136(u)", "jobs.reminders.domain.lint",
    ),
    Rule(
        _("Holidays"),
        _("Nothing unasked goes out on a national holiday."),
        OURS, "shared.outbox.domain.quiet_hours",
    ),
    Rule(
        _("How often"),
        _("Nothing unasked goes to an address that had its number of messages of any kind in seven days (Messages), "
          "and no second reminder within the days set under Company."),
        OURS, "shared.outbox.domain.limits",
    ),
    Rule(
        _("Mail that came back, and complaints"),
        _("Close the address for everything until the office opens it again with a reason."),
        OURS, "shared.outbox.delivery",
    ),
)  # fmt: skip
