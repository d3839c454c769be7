from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.customers.domain.columns import IGNORE
from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.facing import facing_of_side
from jobs.customers.domain.faults import Fault
from jobs.customers.domain.tables import MAX_FILE_BYTES
from jobs.customers.domain.values import phone_as_written, read_phone
from jobs.customers.models import Customer, Property, Purpose, Wall
from jobs.customers.services import FIELDS, Preview
from shared.outbox.models import Channel
from shared.web.present import company_now

SIDES = {"front": _("front"), "right": _("right"), "back": _("back"), "left": _("left")}
KINDS = [("customers", _("customers and properties")), ("jobs", _("jobs, open and done"))]
DATE_ORDERS = [
    ("", _("as the file itself shows")),
    ("mdy", _("month first: 5/31/2026")),
    ("dmy", _("day first: 31/5/2026")),
]


class SearchForm(forms.Form):
    words = forms.CharField(label=_("Name, street, number or mail"), required=False, max_length=80)


class PhoneField(forms.CharField):
    """A telephone number as people write it; cleans to E.164."""

    def prepare_value(self, value: Any) -> Any:
        return phone_as_written(value, region=company_now().country) if value and str(value).startswith("+") else value

    def clean(self, value: Any) -> str:
        number = read_phone(super().clean(value), str(self.label), region=company_now().country)
        if isinstance(number, Fault):
            raise forms.ValidationError(f"{number.problem_text()} {number.advice_text()}")
        return number


class CustomerForm(forms.ModelForm):
    """What is known of a customer. Saved by the services, not by the form."""

    phone_e164 = PhoneField(label=_("Telephone"), required=False, max_length=40)

    class Meta:
        model = Customer
        fields = ("name", "phone_e164", "email", "language", "reference", "source", "note")
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        labels = {"source": _("How they found us"), "reference": _("Our reference")}
        help_texts = {"source": ""}


class PropertyForm(forms.ModelForm):
    class Meta:
        model = Property
        fields = (
            "street", "city", "region", "postal_code", "gate_note", "pet_note", "storeys", "year_built",
            "front_degrees", "latitude", "longitude", "reference", "note",
        )  # fmt: skip
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        labels = {
            "region": _("State"),
            "postal_code": _("ZIP code"),
            "gate_note": _("Gate and access"),
            "pet_note": _("Pets"),
            "reference": _("Our reference"),
            "front_degrees": _("Street side looks to, in degrees"),
        }


class PlaceForm(forms.ModelForm):
    """Where a property is, in degrees; both or neither."""

    class Meta:
        model = Property
        fields = ("latitude", "longitude")
        help_texts = {
            "latitude": _("Decimal degrees, such as 40.0125; north is positive."),
            "longitude": _("Decimal degrees, such as -83.0210; west is negative."),
        }


class WallForm(forms.ModelForm):
    field_order = ("name", "kind", "material", "colour", "lightness_percent", "facing_degrees", "side", "shade")

    class Meta:
        model = Wall
        fields = (
            "name", "kind", "material", "colour", "facing_degrees", "shade", "area_sqft", "storeys", "year_fitted",
            "old_paint", "lightness_percent",
        )  # fmt: skip
        labels = {
            "facing_degrees": _("Facing, in degrees"),
            "year_fitted": _("Year fitted"),
            "old_paint": _("Paint from before 1978"),
            "area_sqft": _("Area in sq ft"),
            "lightness_percent": _("Lightness of the colour, in percent"),
        }
        help_texts = {"old_paint": ""}

    side = forms.ChoiceField(
        label=_("Or its side, seen from the street"),
        choices=[("", "–"), *SIDES.items()],
        required=False,
        help_text=_("Used where no degrees are written and the property says which way its street side looks."),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        side = data.pop("side", "")
        if side and data.get("facing_degrees") is None:
            front = self.instance.property.front_degrees
            if front is None:
                self.add_error("side", _("Write first, at the property, which way its street side looks."))
            else:
                data["facing_degrees"] = facing_of_side(front, side)
        return data


class ConsentForm(forms.Form):
    """What a customer said about being written to: everything unless a purpose is named."""

    channel = forms.ChoiceField(label=_("Way"), choices=Channel.choices)
    purpose = forms.ChoiceField(label=_("About"), choices=list(reversed(Purpose.choices)), required=False)
    given = forms.TypedChoiceField(
        label=_("They said"), choices=[("yes", _("yes")), ("no", _("no"))], coerce=lambda word: word == "yes"
    )
    wording = forms.CharField(
        label=_("In which words"), help_text=_("What they said, or were shown or told"), max_length=500, required=False
    )

    def clean_purpose(self) -> str:
        return self.cleaned_data["purpose"] or Purpose.ALL.value


class UploadForm(forms.Form):
    """The first step of an import."""

    kind = forms.ChoiceField(label=_("What the file holds"), choices=KINDS, widget=forms.RadioSelect)
    file = forms.FileField(
        label=_("File"), help_text=_("CSV or XLSX, as your spreadsheet saves it. The first row names the columns.")
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MAX_FILE_BYTES:
            raise forms.ValidationError(_("The file is larger than 50 MB: split it and import the parts."))
        return file


class MappingForm(forms.Form):
    """What each column is, and in which order its dates are written: as chosen so far, else as recognised.

    Shown only; what is chosen is read by `mapping_of`, and what cannot be is said by the dry run.
    """

    use_required_attribute = False
    date_order = forms.ChoiceField(label=_("Dates such as 5/4/2026"), choices=DATE_ORDERS)

    def __init__(self, *, kind: str, preview: Preview, chosen: Any) -> None:
        super().__init__(initial={"date_order": chosen.get("date_order", "")})
        if kind != "jobs":
            del self.fields["date_order"]
        choices = [(IGNORE, _("(not used)")), *((field.name, _(field.label)) for field in FIELDS[kind])]
        self.samples: dict[str, list[str]] = {}
        for column in preview.columns:
            if column.heading:
                name = column_name(column.position)
                told = chosen.get(name) or column.field or ("" if column.is_doubtful else IGNORE)
                undecided = [] if told else [("", _("(which is it?)"))]
                self.fields[name] = forms.ChoiceField(
                    label=column.heading, choices=[*undecided, *choices], initial=told
                )
                self.samples[name] = [sample for sample in column.samples if sample.strip()]

    def columns(self) -> list[tuple[forms.BoundField, list[str]]]:
        """The selects, each with some values of its column."""
        return [(self[name], samples) for name, samples in self.samples.items()]


def column_name(position: int) -> str:
    return f"column_{position}"


def mapping_of(data: Any, header: list[str]) -> dict[str, str]:
    """From what was chosen on the page to headings and fields; columns that the page did not offer are absent."""
    chosen = {heading: data.get(column_name(at), "") for at, heading in enumerate(header) if heading}
    return {heading: name for heading, name in chosen.items() if name}


def date_order_of(data: Any) -> DateOrder | None:
    """The declared order of dates; None for anything else."""
    word = data.get("date_order", "")
    return DateOrder(word) if word in ("mdy", "dmy") else None
