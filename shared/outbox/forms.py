from django import forms
from django.utils.translation import gettext_lazy as _

from shared.outbox.decisions import THROWS
from shared.outbox.models import Channel, MessageState, SendingLimits

# What the rooms write about, in words; each names its own purpose where it writes.
PURPOSES = (
    ("", _("anything")),
    ("reminder", _("reminders")),
    ("opt_out_confirmation", _("confirmed opt-outs")),
    ("estimate", _("estimates")),
    ("coming", _("when the crew comes")),
    ("notice", _("what was found on the walls")),
)


class MessageFilter(forms.Form):
    """What the list of messages is narrowed to; everything is optional."""

    state = forms.ChoiceField(label=_("State"), choices=[("", _("any")), *MessageState.choices], required=False)
    channel = forms.ChoiceField(label=_("Way"), choices=[("", _("any")), *Channel.choices], required=False)
    purpose = forms.ChoiceField(label=_("About"), choices=PURPOSES, required=False)


class ReasonForm(forms.Form):
    """Why the office decides about a message, in a few words."""

    reason = forms.CharField(label=_("Why"), max_length=200)


class SwitchForm(ReasonForm):
    throw = forms.ChoiceField(choices=[(throw.word, throw.button) for throw in THROWS.values()])


class LimitsForm(forms.ModelForm):
    class Meta:
        model = SendingLimits
        fields = ("mails_per_minute", "texts_per_minute", "most_per_week")
        labels = {
            "mails_per_minute": _("Mails a minute"),
            "texts_per_minute": _("Texts a minute"),
            "most_per_week": _("Most messages to one address in 7 days"),
        }
