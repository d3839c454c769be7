"""Rows of a draft as forms: each shows a row, and gives one back. What a whole card must hold is checked with the rows
of its file, so that both ways have one set of rules; a fault is shown by the field of its column."""

from decimal import Decimal
from typing import Any, ClassVar, cast

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Material
from pricing.catalogue.choices import SurchargeIs
from pricing.catalogue.domain import FactorKind, SurchargeKind, SurchargeWhen
from pricing.catalogue.domain.card_rows import BOUNDS, LEVELS, MOST_PERCENT, CardRow
from pricing.catalogue.domain.factor_rules import FactorRule
from pricing.catalogue.wording import CardTongue, level_words, when_words
from shared.units import fluid_ounces_from_ml, ml_from_fluid_ounces
from shared.web.forms import CENTS, MoneyField

SEPARATOR = "|"
Choices = list[tuple[Any, Any]]


def whole_field(label: Any, column: str, **kwargs: Any) -> forms.IntegerField:
    """A whole number within the bounds of a card's column."""
    least, most = BOUNDS[column]
    return forms.IntegerField(label=label, min_value=least, max_value=most, **kwargs)


class OuncesField(forms.DecimalField):
    """US fluid ounces; cleans to whole millilitres."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "0.01", "min": "0", "inputmode": "decimal"}))
        most = fluid_ounces_from_ml(BOUNDS["volume_ml_per_100_units"][1])
        bounds = [MinValueValidator(Decimal(0)), MaxValueValidator(most)]
        super().__init__(max_digits=8, decimal_places=2, validators=bounds, **kwargs)

    def clean(self, value: Any) -> int | None:
        ounces = super().clean(value)
        return None if ounces is None else ml_from_fluid_ounces(ounces)

    def prepare_value(self, value: Any) -> Any:
        return f"{fluid_ounces_from_ml(value):f}" if isinstance(value, int) else value


class RowForm(forms.Form):
    """`fields_of` says by which field a fault of a card's column is shown, where the names differ."""

    fields_of: ClassVar[dict[str, str]] = {}

    def __init__(self, *args: Any, tongue: CardTongue, services: Choices, **kwargs: Any) -> None:
        self.tongue, self.services = tongue, services
        super().__init__(*args, **kwargs)
        self.prepare()

    def prepare(self) -> None:
        """Choices and labels that hang on the card."""

    def offer(self, name: str, choices: Choices) -> None:
        """Let a list have these entries."""
        cast(forms.ChoiceField, self.fields[name]).choices = choices

    @property
    def is_new(self) -> bool:
        """A row that the page offers for something new."""
        return not self.initial

    @property
    def is_blank(self) -> bool:
        return self.is_new and not self.has_changed()

    def fault_add(self, column: str, problem: str) -> None:
        field = self.fields_of.get(column, column)
        self.add_error(field if field in self.fields else None, problem)


def _money(label: Any) -> MoneyField:
    most = Decimal(BOUNDS["minimum_price_cents"][1]) / CENTS
    return MoneyField(label=label, validators=[MinValueValidator(Decimal(0)), MaxValueValidator(most)])


class RateForm(RowForm):
    """The figures of one service; a new row chooses among the services that are not on the card."""

    service = forms.ChoiceField(label=_("Service"))
    price_cents_per_100_units = _money(_("Price per 100"))
    minimum_price_cents = _money(_("Least charge"))
    materials_cents_per_100_units = _money(_("Small things per 100"))
    setup_minutes = whole_field(_("Set-up, minutes"), "setup_minutes")
    units_per_crew_hour = whole_field(_("An hour, one storey"), "units_per_crew_hour")
    units_per_crew_hour_high = whole_field(_("An hour, two and more"), "units_per_crew_hour_high")

    def prepare(self) -> None:
        mine = self.initial.get("service")
        field = cast(forms.ChoiceField, self.fields["service"])
        if mine is None:
            field.choices = [("", _("choose")), *self.services]
            return
        field.choices, field.widget = list(self.tongue.names.items()), forms.HiddenInput()
        per = self.tongue.per_hundred(mine)
        self.fields["price_cents_per_100_units"].label = _("Price %(per)s") % {"per": per}
        self.fields["materials_cents_per_100_units"].label = _("Small things %(per)s") % {"per": per}

    @property
    def legend(self) -> str:
        mine = self.initial.get("service")
        return self.tongue.name(mine) if mine else str(_("One more service"))

    def row(self) -> CardRow:
        return {"part": "rate", **{name: self.cleaned_data[name] for name in self.fields if name != "DELETE"}}


def level_choices(known: str) -> Choices:
    """Levels of factors in groups; `known` is one that may be on the card without being among them."""
    groups = {
        _("Storeys"): [(FactorKind.STOREYS, level) for level in LEVELS[FactorKind.STOREYS]],
        _("Access"): [(FactorKind.ACCESS, level) for level in LEVELS[FactorKind.ACCESS]],
        _("Soil"): [(FactorKind.SOIL, level) for level in LEVELS[FactorKind.SOIL]],
        _("Chalk"): [(FactorKind.CHALK, level) for level in LEVELS[FactorKind.CHALK]],
        _("Material"): [(FactorKind.MATERIAL, level) for level in Material.values],
    }
    found: Choices = [("", _("choose"))]
    found += [
        (name, [(f"{kind}{SEPARATOR}{level}", level_words(kind, level)) for kind, level in levels])
        for name, levels in groups.items()
    ]
    return with_known(found, known, level_words)


def with_known(choices: Choices, known: str, words: Any) -> Choices:
    """The choices, and the one that a row has already where a file brought another."""
    flat = [value for _name, group in choices if isinstance(group, list) for value, _label in group]
    flat += [value for value, label in choices if not isinstance(label, list)]
    return choices if known in flat else [*choices, (known, words(*known.split(SEPARATOR, 1)))]


class FactorForm(RowForm):
    """A factor for one service or for every one."""

    fields_of: ClassVar[dict[str, str]] = {"kind": "on"}

    on = forms.ChoiceField(label=_("Where there is"))
    percent = whole_field(_("Percent of the usual minutes"), "percent")
    service = forms.ChoiceField(label=_("For"), required=False)

    def prepare(self) -> None:
        self.offer("on", level_choices(self.initial.get("on", "")))
        self.offer("service", [("", self.tongue.name("")), *self.services])

    @property
    def legend(self) -> str:
        known = self.initial.get("on")
        return level_words(*known.split(SEPARATOR, 1)) if known else str(_("One more"))

    @staticmethod
    def initial_of(rule: FactorRule) -> dict[str, Any]:
        on = f"{rule.kind}{SEPARATOR}{rule.level}"
        return {"on": on, "percent": rule.percent, "service": rule.service}

    def rule(self) -> FactorRule:
        data = self.cleaned_data
        kind, level = data["on"].split(SEPARATOR, 1)
        return FactorRule(kind, level, data["percent"], data["service"])


class MaterialForm(RowForm):
    """A material as bought; under another name it stays the same one."""

    was = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label=_("Material"), max_length=60)
    cost_cents_per_gallon = _money(_("Cost a gallon"))

    @property
    def legend(self) -> str:
        return self.initial.get("name") or str(_("One more material"))

    def clean_name(self) -> str:
        return " ".join(self.cleaned_data["name"].split())

    def row(self) -> CardRow:
        data = self.cleaned_data
        return {"part": "material", "name": data["name"], "cost_cents_per_gallon": data["cost_cents_per_gallon"]}


class UseForm(RowForm):
    """How much of a material a service takes."""

    service = forms.ChoiceField(label=_("Service"))
    name = forms.ChoiceField(label=_("Material"))
    volume_ml_per_100_units = OuncesField(label=_("Fluid ounces per 100"))

    def __init__(self, *args: Any, materials: list[str], **kwargs: Any) -> None:
        self.materials = materials
        super().__init__(*args, **kwargs)

    def prepare(self) -> None:
        self.offer("service", [("", _("choose")), *self.services])
        self.offer("name", [("", _("choose")), *((name, name) for name in self.materials)])
        if not self.is_new:
            per = self.tongue.per_hundred(self.initial["service"])
            self.fields["volume_ml_per_100_units"].label = _("Fluid ounces %(per)s") % {"per": per}

    @property
    def legend(self) -> str:
        if self.is_new:
            return str(_("One more use"))
        return f"{self.tongue.name(self.initial['service'])}, {self.initial['name']}"

    def row(self) -> CardRow:
        data = self.cleaned_data
        return {"part": "use", **{name: data[name] for name in ("service", "name", "volume_ml_per_100_units")}}


def when_choices(known: str) -> Choices:
    """When a surcharge applies; the minutes of driving have a field of their own."""
    levels = {
        SurchargeWhen.STOREYS: ("2", "3", "4"),
        SurchargeWhen.ACCESS: LEVELS[FactorKind.ACCESS],
        SurchargeWhen.SOIL: LEVELS[FactorKind.SOIL],
        SurchargeWhen.CHALK: ("1", "2", "3", "4", "5"),
        SurchargeWhen.MATERIAL: tuple(Material.values),
    }
    found: Choices = [("", _("choose")), (f"{SurchargeWhen.ALWAYS}{SEPARATOR}", _("always"))]
    found.append((f"{SurchargeWhen.DRIVING}{SEPARATOR}", _("from so many minutes of driving on")))
    for when, those in levels.items():
        found += [(f"{when}{SEPARATOR}{level}", when_words(when, level)) for level in those]
    return with_known(found, known, when_words)


class SurchargeForm(RowForm):
    """A surcharge: an amount in money or whole percent."""

    fields_of: ClassVar[dict[str, str]] = {"when": "on", "level": "on"}

    name = forms.CharField(label=_("Surcharge"), max_length=60)
    figure = forms.DecimalField(
        label=_("How much"),
        min_value=0,
        max_value=Decimal(BOUNDS["figure"][1]) / CENTS,
        decimal_places=2,
        widget=forms.NumberInput(attrs={"step": "0.01", "min": "0", "inputmode": "decimal"}),
    )
    kind = forms.ChoiceField(label=_("Of what"), choices=[("", _("choose")), *SurchargeIs.choices])
    on = forms.ChoiceField(label=_("When"))
    minutes = forms.IntegerField(label=_("Minutes of driving"), required=False, min_value=1, max_value=600)
    service = forms.ChoiceField(label=_("For"), required=False)

    def prepare(self) -> None:
        self.offer("on", when_choices(self.initial.get("on", "")))
        self.offer("service", [("", self.tongue.name("")), *self.services])

    @property
    def legend(self) -> str:
        return self.initial.get("name") or str(_("One more surcharge"))

    @staticmethod
    def initial_of(row: CardRow) -> dict[str, Any]:
        is_driving = row["when"] == SurchargeWhen.DRIVING
        figure = int(row["figure"])
        is_money = row["kind"] == SurchargeKind.FIXED
        return {
            "name": row["name"],
            "figure": f"{Decimal(figure) / CENTS:.2f}" if is_money else figure,
            "kind": row["kind"],
            "on": f"{row['when']}{SEPARATOR}{'' if is_driving else row['level']}",
            "minutes": int(row["level"]) if is_driving else None,
            "service": row["service"],
        }

    def clean_name(self) -> str:
        return " ".join(self.cleaned_data["name"].split())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        figure, is_driving = data.get("figure"), data.get("on", "").startswith(SurchargeWhen.DRIVING)
        is_percent = data.get("kind") == SurchargeKind.PERCENT
        if is_percent and figure is not None and (figure != int(figure) or figure > MOST_PERCENT):
            self.add_error("figure", _("A percentage is whole and at most %(most)s.") % {"most": MOST_PERCENT})
        if is_driving and not data.get("minutes") and "minutes" not in self.errors:
            self.add_error("minutes", _("Say from how many minutes on."))
        if data.get("minutes") and data.get("on") and not is_driving:
            self.add_error("minutes", _("Leave this empty: it counts for driving alone."))
        return data

    def row(self) -> CardRow:
        data = self.cleaned_data
        when, level = data["on"].split(SEPARATOR, 1)
        scale = CENTS if data["kind"] == SurchargeKind.FIXED else 1
        return {
            "part": "surcharge", "name": data["name"], "service": data["service"], "kind": data["kind"],
            "figure": int(data["figure"] * scale), "when": when,
            "level": str(data["minutes"]) if when == SurchargeWhen.DRIVING else level,
        }  # fmt: skip
