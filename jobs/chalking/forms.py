from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.chalking.choices import DueWhen
from jobs.chalking.domain.verdict import Verdict

WHEN = {
    "season": (_("pass the limit this season, or may"), (Verdict.THIS_SEASON, Verdict.MAY_THIS_SEASON)),
    "passed": (
        _("were read at the limit, or have passed it"),
        (Verdict.AT_LIMIT, Verdict.HAS_PASSED, Verdict.PROBABLY_PASSED),
    ),
    "later": (_("later"), (Verdict.LATER,)),
    "too_little": (_("too little data"), (Verdict.TOO_LITTLE,)),
    "all": (_("any time"), ()),
}
TESTED = {
    "tested": (_("tested"), False),
    "untested": (_("that nobody has tested"), True),
    "both": (_("tested or not"), None),
}
LIMITS = [(step, f"{Decimal(step) / 2:f}") for step in range(1, 11)]


class ForecastFilter(forms.Form):
    """What the list of walls is narrowed to; tested walls and the season unless told otherwise."""

    when = forms.ChoiceField(label=_("Walls that"), choices=[(code, words) for code, (words, _v) in WHEN.items()])
    tested = forms.ChoiceField(
        label=_("Tested"), choices=[(code, words) for code, (words, _u) in TESTED.items()], required=False
    )
    words = forms.CharField(label=_("Street, customer or wall"), required=False, max_length=80)

    def chosen(self) -> dict[str, Any]:
        """What `forecast_list` takes."""
        known = self.cleaned_data if self.is_bound and self.is_valid() else {}
        return {
            "verdicts": WHEN[known.get("when", "season")][1],
            "is_untested": TESTED[known.get("tested") or "tested"][1],
            "words": known.get("words", ""),
        }


class LimitForm(forms.Form):
    limit_half_steps = forms.TypedChoiceField(label=_("Reading at which a wall is due"), choices=LIMITS, coerce=int)
    due_when = forms.ChoiceField(label=_("Day that counts"), choices=DueWhen.choices)
