from django import forms
from django.utils.translation import gettext_lazy as _

from shared.outbox.models import Channel, MessageState, SendingLimits


class MessageFilter(forms.Form):
    """What the list of messages is narrowed to; everything is optional."""

    state = forms.ChoiceField(label=_("State"), choices=[("", _("any")), *MessageState.choices], required=False)
    channel = forms.ChoiceField(label=_("Way"), choices=[("", _("any")), *Channel.choices], required=False)


class ReasonForm(forms.Form):
    """Why the office decides about a message, in a few words."""

    reason = forms.CharField(label=_("Why"), max_length=200)


class SwitchForm(ReasonForm):
    is_on = forms.ChoiceField(choices=(("on", _("on")), ("off", _("off"))))


class LimitsForm(forms.ModelForm):
    class Meta:
        model = SendingLimits
        fields = ("mails_per_minute", "texts_per_minute", "most_per_week")
        labels = {
            "mails_per_minute": _("Mails a minute"),
            "texts_per_minute": _("Texts a minute"),
            "most_per_week": _("Most messages to one address in 7 days"),
        }
