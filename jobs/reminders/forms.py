from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.reminders.answers import Answer
from jobs.reminders.models import AnswerKind, AnswerSettings, HoldingBack

STATES = (
    ("", _("everything due")),
    ("ready", _("may be reminded now")),
    ("waits", _("reminded lately: wait")),
    ("no_channel", _("no way to write")),
    ("reminded", _("written about already")),
)


class DueFilter(forms.Form):
    """What the due list is narrowed to; everything is optional."""

    state = forms.ChoiceField(label=_("Show"), choices=STATES, required=False)
    kind = forms.ChoiceField(label=_("Kind"), required=False)
    search = forms.CharField(label=_("Name or street"), max_length=80, required=False)
    lead_days = forms.IntegerField(label=_("Days ahead"), min_value=0, max_value=730, required=False)

    def __init__(self, *args: Any, kinds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"] = forms.ChoiceField(
            label=_("Kind"), choices=[("", _("every kind")), *kinds], required=False
        )


class OptOutForm(forms.Form):
    """What a homeowner no longer wants. A one-click request (RFC 8058) carries no such field and means reminders."""

    scope = forms.ChoiceField(
        choices=(("reminder", _("No more reminders")), ("all", _("No messages of any kind"))), required=False
    )


DEFAULT_WEEKS, MOST_WEEKS = 3, 8


class WeeksForm(forms.Form):
    weeks = forms.IntegerField(label=_("Weeks ahead"), min_value=1, max_value=MOST_WEEKS, initial=DEFAULT_WEEKS)


class AnswerForm(forms.Form):
    """What a homeowner taps on the page of a reminder."""

    kind = forms.ChoiceField(choices=AnswerKind.choices)
    thing = forms.TypedMultipleChoiceField(coerce=int, required=False)
    day = forms.DateField(required=False)
    months = forms.IntegerField(required=False)
    note = forms.CharField(required=False, max_length=500)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        things = self.fields["thing"]
        assert isinstance(things, forms.TypedMultipleChoiceField)
        sent = self.data.getlist("thing") if hasattr(self.data, "getlist") else []
        things.choices = [(value, value) for value in sent if value.isdecimal() and len(value) < 19]

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
