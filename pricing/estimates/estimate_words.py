"""What an estimate says to the homeowner, in the language that is active: page and PDF print the same sentences."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.utils.translation import gettext as translated  # not for the extraction of texts

from pricing.catalogue.choices import Unit
from pricing.catalogue.models import Service
from pricing.estimates.models import Estimate, EstimateLine
from pricing.estimates.selectors import OptionView, option_views
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.web.words import day_words, money_words

LEAD_RULES_BEFORE_YEAR = 1978  # 40 CFR 745.83


@dataclass(frozen=True, slots=True)
class OptionWords:
    """One option: its lines (what, price), then the sums (what, amount), the total last."""

    position: int
    name: str
    lines: tuple[tuple[str, str], ...]
    sums: tuple[tuple[str, str], ...]
    total: str


@dataclass(frozen=True, slots=True)
class EstimateWords:
    """Everything printed, as plain text. `sections` are titles with their sentences."""

    title: str
    place: str
    facts: tuple[str, ...]
    options_title: str
    options: tuple[OptionWords, ...]
    sections: tuple[tuple[str, tuple[str, ...]], ...]
    footer: str


def estimate_words(estimate: Estimate) -> EstimateWords:
    """The words of an estimate about to be sent; `revision` is the number that it gets."""
    company = company_get()
    views = option_views(estimate)
    lines = list({line.pk: line for view in views for line in view.lines}.values())
    several = len(views) > 1
    return EstimateWords(
        title=_("Estimate for %(place)s") % {"place": estimate.place},
        place=f"{estimate.customer_name} · {estimate.place}",
        facts=_facts(estimate, company),
        options_title=_("Choose one of these") if several else _("What it costs"),
        options=tuple(_option(view, company.currency, estimate.tax_millionths) for view in views),
        sections=tuple((title, texts) for title, texts in _sections(estimate, lines, views) if texts),
        footer=_footer(company),
    )


def option_name(option_name_given: str, lines: Sequence[EstimateLine]) -> str:
    """The name that the office gave, or the services in the order of the lines."""
    return option_name_given or " + ".join(line_name(line) for line in lines)


def line_name(line: EstimateLine) -> str:
    """`Chalk removal: south wall, garage door`."""
    name = service_name(line.service)
    walls = ", ".join(translated(wall) for wall in line.wall_names)
    return f"{name}: {walls}" if walls else name


def service_name(service: Service) -> str:
    spanish = (get_language() or "").startswith("es")
    return service.name_es if spanish and service.name_es else service.name


def accept_words(option: str, total: str) -> str:
    """The sentence above the name of one who accepts."""
    return _(
        "I accept this estimate: %(option)s, %(total)s in all. I understand what is included and what is not, and that "
        "a wash does not remove chalk."
    ) % {"option": option, "total": total}


def decline_words() -> str:
    return _("No, thank you: I do not want this work now.")


def _facts(estimate: Estimate, company: Company) -> tuple[str, ...]:
    return (
        _("Estimate %(number)s, version %(version)s") % {"number": estimate.pk, "version": estimate.revision},
        _("Made on %(day)s") % {"day": day_words(clock.local_date(company.timezone, estimate.made_at))},
        _("You can accept it until %(day)s. After that day ask us for a new one.")
        % {"day": day_words(estimate.valid_until)},
    )


def _option(view: OptionView, currency: str, tax_millionths: int | None) -> OptionWords:
    totals = view.totals
    sums = [(_("Before tax"), money_words(totals.before_tax_cents, currency))]
    if totals.discount_cents:
        sums.insert(0, (_("Discount"), "-" + money_words(totals.discount_cents, currency)))
    if tax_millionths is None:
        total = money_words(totals.total_cents, currency)
        sums = [*sums[:-1], (_("Total; no tax is included"), total)]
    else:
        total = money_words(totals.total_cents, currency)
        rate = _("Tax at %(rate)s") % {"rate": tax_words(tax_millionths)}
        sums += [(rate, money_words(totals.tax_cents, currency)), (_("Total"), total)]
    return OptionWords(
        position=view.option.position,
        name=option_name(view.option.name, view.lines),
        lines=tuple((_line_words(line), money_words(line.price_cents, currency)) for line in view.lines),
        sums=tuple(sums),
        total=total,
    )


def tax_words(tax_millionths: int) -> str:
    """`88750` -> `8.875%`."""
    whole, rest = divmod(tax_millionths, 10_000)
    return f"{whole}.{rest:04d}".rstrip("0").rstrip(".") + "%"


def _line_words(line: EstimateLine) -> str:
    """The service with its walls and how much of it."""
    unit = line.service.get_unit_display()
    quantity = f"{line.quantity:,} {unit}" if line.service.unit != Unit.EACH else f"{line.quantity:,}"
    return f"{line_name(line)} ({quantity})"


def _sections(
    estimate: Estimate, lines: Sequence[EstimateLine], views: Sequence[OptionView]
) -> list[tuple[str, tuple[str, ...]]]:
    services = list({line.service_id: line.service for line in lines}.values())
    return [
        (_("What we do"), tuple(_scope(service) for service in services)),
        (_("What is not included"), _exclusions(services, views)),
        (_("Please know"), _cautions(estimate, services)),
        (_("A word from us"), tuple(part.strip() for part in estimate.note.splitlines() if part.strip())),
    ]


def _scope(service: Service) -> str:
    """The work in plain words; a service of the company's own is named."""
    if service.removes_chalk:
        return _(
            "%(service)s: wall by wall, by hand, with a cleaner made for it: a test spot first, small sections, a "
            "careful rinse."
        ) % {"service": service_name(service)}
    if service.unit == Unit.WALL_SQFT:
        return _(
            "%(service)s: dirt and growth are taken off with water, a mild cleaner and low pressure, then rinsed. No "
            "pressure wand on the siding."
        ) % {"service": service_name(service)}
    return _("%(service)s: as listed above, with the surroundings rinsed and left tidy.") % {
        "service": service_name(service)
    }


def _exclusions(services: Sequence[Service], views: Sequence[OptionView]) -> tuple[str, ...]:
    removal = [view for view in views if any(line.service.removes_chalk for line in view.lines)]
    found = [
        _("A wash does not remove chalk, the powder that sun and rain make of the surface itself."),
        _("Where chalk is not taken off, it stays after the wash and may look uneven once the dirt is gone."),
    ]
    if removal:
        found.append(
            _("Taking chalk off brings colour back as far as the surface still has it; chalk returns with the years.")
        )
    return (
        *found,
        _("Stains in the material, such as rust, fungus spots and old oxidation of metal, may stay."),
        _("Repairs, painting, caulking and moving heavy things are not part of this price."),
        _("Work beyond what is listed is done only after you agreed to its price."),
    )


def _cautions(estimate: Estimate, services: Sequence[Service]) -> tuple[str, ...]:
    found = [
        _("Shut windows and doors; keep children and pets inside; move cars out of the spray."),
        _("Tell us of leaks, loose panels, outlets without covers and plants that you care for most."),
        _("Our cleaners can sting eyes and skin and harm plants: keep away until we rinsed; we water plants too."),
        _("We need water from your outside tap, and come again another day when thunder, frost or wind forbid work."),
    ]
    if estimate.year_built is not None and estimate.year_built < LEAD_RULES_BEFORE_YEAR:
        words = _("Your house is from before 1978: loose old paint is left alone unless lead-safe rules are followed.")
        found.append(words)
    return (*found, _("Product labels, safety data sheets and local rules come first."))


def _footer(company: Company) -> str:
    return " · ".join(part for part in (company.name, company.postal_address) if part)
