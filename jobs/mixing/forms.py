from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from jobs.mixing.choices import BasisChoice, Direction, Surface, Way
from jobs.mixing.domain.strength import POINTS_PER_PERCENT, points_by_label
from jobs.mixing.models import COLDEST_F, WARMEST_F, Product
from pricing.catalogue.models import Service
from shared.units import ml_from_us_gallons

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class PercentField(forms.DecimalField):
    """A percentage with two decimals; cleans to whole basis points."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("validators", [MinValueValidator(Decimal("0.01")), MaxValueValidator(Decimal(100))])
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "0.01", "inputmode": "decimal"}))
        super().__init__(max_digits=5, decimal_places=2, **kwargs)

    def clean(self, value: Any) -> int | None:
        percent = super().clean(value)
        return None if percent is None else int(percent * POINTS_PER_PERCENT)

    def prepare_value(self, value: Any) -> Any:
        return f"{Decimal(value) / POINTS_PER_PERCENT:.2f}" if isinstance(value, int) else value


class GallonsField(forms.DecimalField):
    """US gallons; cleans to whole millilitres."""

    def __init__(self, *, most: int, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "0.01", "inputmode": "decimal"}))
        bounds = [MinValueValidator(Decimal("0.01")), MaxValueValidator(Decimal(most))]
        super().__init__(max_digits=8, decimal_places=3, validators=bounds, **kwargs)

    def clean(self, value: Any) -> int | None:
        gallons = super().clean(value)
        return None if gallons is None else ml_from_us_gallons(float(gallons))


def basis_field(**kwargs: Any) -> forms.ChoiceField:
    """Which percentage; the services refuse a strength without it, in words."""
    choices = [("", _("say of what")), *BasisChoice.choices]
    return forms.ChoiceField(label=_("Percent of what"), choices=choices, required=False, **kwargs)


def water_parts_field() -> forms.DecimalField:
    """A dilution as labels print it, in place of a percentage by volume."""
    return forms.DecimalField(
        label=_("Or by the label: parts of water to one part"),
        required=False,
        max_digits=6,
        decimal_places=2,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(9_999))],
    )


class ProductForm(forms.ModelForm):
    """A product as its label says."""

    strongest_basis_points = PercentField(
        label=_("Strongest use that the label allows, %"), required=False, help_text=_("Empty: the label names none.")
    )
    label_water_parts = water_parts_field()

    class Meta:
        model = Product
        fields = (
            "name", "chemistry", "strongest_basis_points", "strongest_basis", "dwell_minutes", "label_words",
            "label_read_on", "data_sheet", "is_corrosive",
        )  # fmt: skip
        labels = {  # noqa: RUF012
            "name": _("Name"),
            "chemistry": _("What it is"),
            "strongest_basis": _("Percent of what"),
            "dwell_minutes": _("Dwell by the label, minutes"),
            "label_words": _("What the label says of diluting and use"),
            "label_read_on": _("Label read on"),
            "data_sheet": _("Where its safety data sheet is kept"),
            "is_corrosive": _("Corrosive (class 8)"),
        }
        help_texts = dict.fromkeys(labels, "")
        widgets = {"label_words": forms.Textarea(attrs={"rows": 3}), "label_read_on": DAY}  # noqa: RUF012

    field_order = ("name", "chemistry", "strongest_basis_points", "strongest_basis", "label_water_parts")

    def clean(self) -> dict[str, Any]:
        """Parts of water that were typed count unless a percentage was."""
        data = super().clean() or {}
        parts = data.pop("label_water_parts", None)
        if parts is None:
            return data
        points = points_by_label(float(parts))
        if data.get("strongest_basis_points") not in (None, points):
            self.add_error("strongest_basis_points", _("Give either a percentage or the label's parts of water."))
        return data | {"strongest_basis_points": points, "strongest_basis": BasisChoice.VOLUME.value}

    def _post_clean(self) -> None:
        """The service validates the whole row."""

    @property
    def values(self) -> dict[str, Any]:
        return self.cleaned_data


class StockForm(forms.Form):
    """A delivery."""

    received_on = forms.DateField(label=_("Came on"), widget=DAY)
    basis_points = PercentField(label=_("Strength, %"))
    basis = basis_field()
    specific_gravity = forms.DecimalField(
        label=_("Specific gravity"),
        required=False,
        max_digits=4,
        decimal_places=3,
        validators=[MinValueValidator(Decimal("0.7")), MaxValueValidator(Decimal(2))],
        help_text=_("From the label or data sheet, such as 1.16; a percentage by weight needs it."),
    )
    storage_f = forms.IntegerField(
        label=_("Kept at, F"),
        initial=75,
        min_value=COLDEST_F,
        max_value=WARMEST_F,
        help_text=_("Fahrenheit, as it usually is there."),
    )
    package_ml = GallonsField(label=_("Gallons in one package"), most=500)
    packages = forms.IntegerField(label=_("Packages"), initial=1, min_value=1, max_value=500)
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    @property
    def values(self) -> dict[str, Any]:
        data = dict(self.cleaned_data)
        gravity = data.pop("specific_gravity")
        return {**data, "gravity_thousandths": None if gravity is None else int(gravity * 1000)}


class StripForm(forms.Form):
    """What a test strip said."""

    read_on = forms.DateField(label=_("Read on"), widget=DAY)
    basis_points = PercentField(label=_("Strip says, %"))
    basis = basis_field()


class MixForm(forms.Form):
    """What a service takes."""

    service = forms.ModelChoiceField(label=_("Service"), queryset=Service.objects.none())
    position = forms.IntegerField(label=_("Poured as number"), initial=1, min_value=1, max_value=9)
    product = forms.ModelChoiceField(label=_("Product"), queryset=Product.objects.none())
    target_basis_points = PercentField(label=_("At the surface, %"), required=False)
    target_basis = basis_field()
    label_water_parts = water_parts_field()
    way = forms.ChoiceField(label=_("How"), choices=Way.choices)
    surface_ml_per_100_units = GallonsField(label=_("Gallons at the surface for 100 units"), most=100)
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["service"].queryset = Service.objects.filter(is_offered=True)  # type: ignore[attr-defined]
        self.fields["product"].queryset = Product.objects.filter(is_active=True)  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        parts = data.pop("label_water_parts", None)
        if (data.get("target_basis_points") is None) == (parts is None):
            self.add_error("target_basis_points", _("Give either a percentage or the label's parts of water."))
        elif parts is not None:
            data["target_basis_points"] = points_by_label(float(parts))
            data["target_basis"] = BasisChoice.VOLUME.value
        return data


class LimitForm(forms.Form):
    """The strongest hypochlorite for a surface."""

    surface = forms.ChoiceField(label=_("Surface"), choices=Surface.choices)
    basis_points = PercentField(label=_("At most, %"))
    basis = forms.ChoiceField(
        label=_("Percent of what"),
        choices=[choice for choice in BasisChoice.choices if choice[0] not in ("weight", "volume")],
        initial=BasisChoice.HYPOCHLORITE_WEIGHT,
    )
    footing = forms.CharField(label=_("Who says so"), max_length=300)


class DirectionForm(forms.Form):
    direction = forms.ChoiceField(label=_("Walls are wetted and treated"), choices=Direction.choices)
