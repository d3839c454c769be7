"""The parts of a draft that have a page each: its services, factors, materials with their use, surcharges."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pricing.catalogue.domain.card_rows import CardContent, CardFault, CardRow, in_order, read_rows
from pricing.catalogue.domain.factor_rules import rows_of_rules
from pricing.catalogue.forms.rows import FactorForm, MaterialForm, RateForm, RowForm, SurchargeForm, UseForm
from pricing.catalogue.wording import CardTongue, card_rules, part_rows, services_of

BLANK_ROWS = 2
MOST_ROWS = 400
Rows = Iterator[tuple[RowForm | None, CardRow]]
"""The rows of a whole card, each with the form that it comes from; None: from another part."""


@dataclass(frozen=True, slots=True)
class PartRead:
    """What a part's forms make of the card; None where something is wrong, which its forms or `problems` say."""

    content: CardContent | None
    problems: Sequence[str] = ()


@dataclass(frozen=True)
class RowSet:
    """The forms of one kind of row, below a heading."""

    title: Any
    forms: Any  # a formset

    @property
    def written(self) -> list[RowForm]:
        """The rows that shall be on the card."""
        mine = [form for form in self.forms if form not in self.forms.deleted_forms]
        return [form for form in mine if not form.is_blank]

    @property
    def removed(self) -> list[RowForm]:
        return list(self.forms.deleted_forms)


@dataclass(frozen=True)
class CardPart:
    """One page of the draft. `replaces` are the parts of the card's rows that its forms hold."""

    slug: str
    title: Any
    about: Any
    replaces: tuple[str, ...]

    def sets(self, content: CardContent, tongue: CardTongue, data: Any = None) -> list[RowSet]:
        """The card's rows as forms, with blank ones at the end; bound to `data` where something was posted."""
        raise NotImplementedError

    def rows(self, sets: Sequence[RowSet], content: CardContent) -> Rows:
        """The whole card with what the forms say in the place of its own rows."""
        raise NotImplementedError

    def read(self, sets: Sequence[RowSet], content: CardContent, services: Collection[str]) -> PartRead:
        """The forms checked each on its own, and then together with the rest of the card."""
        are_valid = [each.forms.is_valid() for each in sets]  # each is asked, so that all that is wrong is said
        if not all(are_valid):
            return PartRead(None)
        rows = [*self.rows(sets, content), *((None, row) for row in self._others(sets, content))]
        found, faults = read_rows(enumerate((row for _form, row in rows), start=1), services)
        if not faults:
            return PartRead(found)
        return PartRead(None, _shown(faults, [form for form, _row in rows]))

    def _others(self, sets: Sequence[RowSet], content: CardContent) -> Iterator[CardRow]:
        return (row for row in in_order(content) if row["part"] not in self.replaces)


def _shown(faults: Sequence[CardFault], by_row: Sequence[RowForm | None]) -> list[str]:
    """Faults by the field of the form that they come from, each once; what belongs to no form is given back."""
    problems: list[str] = []
    said: set[tuple[int, str, str]] = set()
    for fault in faults:
        form = by_row[fault.row - 1] if fault.row else None
        problem = fault.problem if fault.column or not fault.row else _("Another row says this already.")
        if form is None:
            problems.append(problem)
        elif (id(form), fault.column, problem) not in said:
            said.add((id(form), fault.column, problem))
            form.fault_add(fault.column, problem)
    return problems


def _forms(
    form: type[RowForm], prefix: str, initial: Sequence[Any], data: Any, *, extra: int = BLANK_ROWS, **kwargs: Any
) -> Any:
    made = forms.formset_factory(
        form, extra=extra, can_delete=True, can_delete_extra=False, max_num=MOST_ROWS, absolute_max=MOST_ROWS
    )
    return made(data, prefix=prefix, initial=initial, form_kwargs=kwargs)


def _choices(codes: Collection[str], tongue: CardTongue) -> list[tuple[str, str]]:
    return [(code, tongue.name(code)) for code in sorted(codes, key=tongue.name)]


class ServicesPart(CardPart):
    def sets(self, content: CardContent, tongue: CardTongue, data: Any = None) -> list[RowSet]:
        missing = set(tongue.names) - set(services_of(content))
        made = _forms(
            RateForm, "rates", [dict(row) for row in part_rows(content, "rate")], data,
            extra=min(1, len(missing)), tongue=tongue, services=_choices(missing, tongue),
        )  # fmt: skip
        return [RowSet("", made)]

    def rows(self, sets: Sequence[RowSet], content: CardContent) -> Rows:
        return ((form, cast(RateForm, form).row()) for form in sets[0].written)

    def _others(self, sets: Sequence[RowSet], content: CardContent) -> Iterator[CardRow]:
        """What speaks of a service that is taken off goes with it."""
        gone = {form.initial.get("service") for form in sets[0].removed}
        return (row for row in super()._others(sets, content) if row.get("service") not in gone)


class FactorsPart(CardPart):
    def sets(self, content: CardContent, tongue: CardTongue, data: Any = None) -> list[RowSet]:
        initial = [FactorForm.initial_of(rule) for rule in card_rules(content)]
        services = _choices(services_of(content), tongue)
        return [RowSet("", _forms(FactorForm, "factors", initial, data, tongue=tongue, services=services))]

    def rows(self, sets: Sequence[RowSet], content: CardContent) -> Rows:
        written = sets[0].written
        rules = [cast(FactorForm, form).rule() for form in written]
        return ((written[number], row) for number, row in rows_of_rules(rules, services_of(content)))


class MaterialsPart(CardPart):
    def sets(self, content: CardContent, tongue: CardTongue, data: Any = None) -> list[RowSet]:
        services = _choices(services_of(content), tongue)
        known = [dict(row, was=row["name"]) for row in part_rows(content, "material")]
        uses = [dict(row) for row in part_rows(content, "use")]
        names = [str(row["name"]) for row in known]
        shared: dict[str, Any] = {"tongue": tongue, "services": services}
        return [
            RowSet(_("As bought"), _forms(MaterialForm, "materials", known, data, **shared)),
            RowSet(_("What takes how much"), _forms(UseForm, "uses", uses, data, materials=names, **shared)),
        ]

    def rows(self, sets: Sequence[RowSet], content: CardContent) -> Rows:
        """A use follows its material to another name, and goes with one that is removed."""
        materials, uses = sets
        called = {form.cleaned_data["was"]: form.cleaned_data["name"] for form in materials.written}
        gone = {form.initial.get("name") for form in materials.removed}
        for form in materials.written:
            yield form, cast(MaterialForm, form).row()
        for form in uses.written:
            row = cast(UseForm, form).row()
            if row["name"] not in gone:
                yield form, {**row, "name": called.get(row["name"], row["name"])}


class SurchargesPart(CardPart):
    def sets(self, content: CardContent, tongue: CardTongue, data: Any = None) -> list[RowSet]:
        initial = [SurchargeForm.initial_of(row) for row in part_rows(content, "surcharge")]
        services = _choices(services_of(content), tongue)
        return [RowSet("", _forms(SurchargeForm, "surcharges", initial, data, tongue=tongue, services=services))]

    def rows(self, sets: Sequence[RowSet], content: CardContent) -> Rows:
        return ((form, cast(SurchargeForm, form).row()) for form in sets[0].written)


PARTS: dict[str, CardPart] = {
    part.slug: part
    for part in (
        ServicesPart(
            "services", gettext_lazy("Services"),
            gettext_lazy(
                "What each service costs and how fast a crew of two is. A service that is removed goes with its "
                "factors, its use of materials and its surcharges."
            ),
            ("rate",),
        ),
        FactorsPart(
            "factors", gettext_lazy("Factors"),
            gettext_lazy(
                "How many of the usual minutes the work takes where something slows or speeds it: 125 is a quarter "
                "longer. A row for one service counts before the row for every service; what is not listed takes the "
                "usual minutes."
            ),
            ("factor",),
        ),
        MaterialsPart(
            "materials", gettext_lazy("Materials"),
            gettext_lazy(
                "What is bought by the gallon, and how much of it a service takes. A new material can be chosen below "
                "once it is saved; one that is removed goes with its uses."
            ),
            ("material", "use"),
        ),
        SurchargesPart(
            "surcharges", gettext_lazy("Surcharges"),
            gettext_lazy(
                "What comes on top of the card's price under a condition, once a line: dollars, or percent of the "
                "price before surcharges. What nobody knows of a house does not count as met."
            ),
            ("surcharge",),
        ),
    )
}  # fmt: skip
