from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Language
from jobs.reminders.answers import Answer
from jobs.reminders.domain.own_words import LONGEST, CauseKind
from jobs.reminders.models import AnswerKind, AnswerSettings, HoldingBack
from jobs.reminders.narrowing import NEVER, DueWish
from shared.outbox.models import Channel
from shared.units import round_half_up

STATES = (
    ("", _("everything due")),
    ("ready", _("may be reminded now")),
    ("waits", _("reminded lately: wait")),
    ("no_channel", _("no way to write")),
    ("reminded", _("written about already")),
)


CHANNELS = (("", _("any way")), (Channel.EMAIL, _("by email")), (Channel.TEXT, _("by text message")))
SILENT = (
    ("", _("whenever")),
    (NEVER, _("never")),
    (180, _("not for half a year")),
    (365, _("not for a year")),
    (730, _("not for two years")),
)
MOST_LEAD_DAYS = 730


class DueFilter(forms.Form):
    """What the due list is narrowed to; everything is optional."""

    state = forms.ChoiceField(label=_("Show"), choices=STATES, required=False)
    kind = forms.ChoiceField(label=_("Kind"), required=False)
    search = forms.CharField(label=_("Name, street or reason"), max_length=80, required=False)
    lead_days = forms.IntegerField(label=_("Days ahead"), required=False, min_value=0, max_value=MOST_LEAD_DAYS)
    channel = forms.ChoiceField(label=_("Way to write"), choices=CHANNELS, required=False)
    silent_days = forms.TypedChoiceField(
        label=_("Reminded last"), choices=SILENT, coerce=int, empty_value=None, required=False
    )
    price_from = forms.IntegerField(label=_("Price from"), min_value=0, max_value=100_000, required=False)
    hours_up_to = forms.DecimalField(
        label=_("Crew-hours up to"), min_value=0, max_value=100, decimal_places=2, required=False
    )
    chance_from_percent = forms.IntegerField(
        label=_("Chance of a yes from, %"), min_value=0, max_value=100, required=False
    )

    def __init__(self, *args: Any, kinds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"] = forms.ChoiceField(
            label=_("Kind"), choices=[("", _("every kind")), *kinds], required=False
        )

    @property
    def lead(self) -> int | None:
        return self._wanted.get("lead_days")

    @property
    def wish(self) -> DueWish:
        """Of the fields that can be read; one that cannot narrows nothing."""
        wanted = dict(self._wanted)
        wanted.pop("lead_days", None)
        price, hours = wanted.pop("price_from", None), wanted.pop("hours_up_to", None)
        return DueWish(
            **wanted,
            price_from_cents=None if price is None else 100 * price,
            minutes_up_to=None if hours is None else round_half_up(60 * hours),
        )

    @property
    def narrows_more(self) -> bool:
        """Whether one of the fields is used that a page may fold away."""
        return any(self.data.get(field.name) for field in self.folded)

    @property
    def folded(self) -> list[forms.BoundField]:
        names = ("channel", "silent_days", "price_from", "hours_up_to", "chance_from_percent")
        return [self[name] for name in names]

    @property
    def _wanted(self) -> dict[str, Any]:
        if not self.is_bound:
            return {}
        self.is_valid()
        return dict(self.cleaned_data)


class OptOutForm(forms.Form):
    """What a homeowner no longer wants. A one-click request (RFC 8058) carries no such field and means reminders."""

    scope = forms.ChoiceField(
        choices=(("reminder", _("No more reminders")), ("all", _("No messages of any kind"))), required=False
    )


DEFAULT_WEEKS, MOST_WEEKS = 3, 8
MOST_KEPT_HOURS = 10_000


class WeeksForm(forms.Form):
    """Which weeks reminders should fill, and how many crew-hours of them are for others: who calls by themselves."""

    weeks = forms.IntegerField(label=_("Weeks ahead"), min_value=1, max_value=MOST_WEEKS, initial=DEFAULT_WEEKS)
    keep_hours = forms.IntegerField(
        label=_("Crew-hours to keep for calls"), min_value=0, max_value=MOST_KEPT_HOURS, initial=0, required=False
    )


class WordsFor(forms.Form):
    """Which kind of thing, in which language, words are written for."""

    kind = forms.ChoiceField(label=_("About"))
    language = forms.ChoiceField(label=_("Language"), choices=Language.choices)

    def __init__(self, *args: Any, kinds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["kind"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = kinds


class OwnWordsForm(forms.Form):
    """One sentence of the owner's; empty for ours."""

    cause = forms.ChoiceField(choices=[(each.value, each.value) for each in CauseKind], widget=forms.HiddenInput)
    channel = forms.ChoiceField(choices=Channel.choices, widget=forms.HiddenInput)
    words = forms.CharField(
        label=_("Your words, or empty for ours"), required=False, max_length=4 * LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
    )  # fmt: skip


MOST_LETTERS = 500


class NoteField(forms.CharField):
    """What was typed, with each line break as the one letter that the page's own count takes it for."""

    def to_python(self, value: Any) -> str:
        return str(super().to_python(value)).replace("\r\n", "\n")


class AnswerForm(forms.Form):
    """What a homeowner taps on the page of a reminder."""

    kind = forms.ChoiceField(choices=AnswerKind.choices)
    thing = forms.TypedMultipleChoiceField(coerce=int, required=False)
    day = forms.DateField(required=False)
    months = forms.IntegerField(required=False)
    note = NoteField(required=False, max_length=MOST_LETTERS)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        things = self.fields["thing"]
        assert isinstance(things, forms.TypedMultipleChoiceField)
        sent = self.data.getlist("thing") if hasattr(self.data, "getlist") else []
        things.choices = [(value, value) for value in sent if value.isdecimal() and len(value) < 19]

    @property
    def problem(self) -> str:
        """Why the form cannot be taken, in words."""
        if set(self.errors) == {"note"}:
            return str(_("Please write at most %(most)s letters and no special codes.") % {"most": MOST_LETTERS})
        return str(_("Choose one of the answers."))

    @property
    def answer(self) -> Answer:
        cleaned = self.cleaned_data
        return Answer(
            kind=cleaned["kind"],
            reminder_ids=cleaned["thing"],
            day=cleaned["day"],
            months=cleaned["months"] or 0,
            note=cleaned["note"],
        )


class AnswerSettingsForm(forms.ModelForm):
    class Meta:
        model = AnswerSettings
        fields = ("makes",)
        labels = {"makes": _("A yes makes")}


class HoldingBackForm(forms.ModelForm):
    class Meta:
        model = HoldingBack
        fields = ("percent",)
        labels = {"percent": _("Held back, per cent")}


STOPS = (("", _("nothing")), ("text", _("no more texts")), ("all", _("no messages of any kind")))


class TextReadForm(forms.Form):
    """What the office does with a text that came in."""

    note = forms.CharField(max_length=200, required=False)
    stop = forms.ChoiceField(
        choices=STOPS,
        required=False,
    )
