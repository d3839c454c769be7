from django import forms
from django.utils.translation import gettext_lazy as _

from pricing.minutes.choices import PromisedMinutes, RouteMinutes


class MinutesChoiceForm(forms.Form):
    """What routes reckon with."""

    promised = forms.ChoiceField(label=_("For jobs whose hours were promised, allow"), choices=PromisedMinutes.choices)
    routes = forms.ChoiceField(label=_("Routes take the mean from"), choices=RouteMinutes.choices)
