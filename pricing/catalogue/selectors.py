from datetime import date

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from pricing.catalogue.domain import HourlyTargetTerms, RateTerms
from pricing.catalogue.models import HourlyTarget, Rate, RateCard
from shared.errors import NotFound


class NoTargetYet(NotFound):
    """Nobody has set an hourly target that is in force on the day asked for."""

    code = "no_hourly_target"


def rate_card_on(*, on: date) -> RateCard | None:
    """The card in force on a day: the one with the latest start not after it."""
    return RateCard.objects.filter(effective_from__lte=on).order_by("-effective_from").first()


def rate_list(*, on: date) -> QuerySet[Rate]:
    """The rates of the card in force on a day with their services, by name; none where there is no card."""
    card = rate_card_on(on=on)
    return Rate.objects.filter(card=card).select_related("service").order_by("service__name", "id")


def rate_terms(*, on: date) -> dict[str, RateTerms]:
    """The terms of every service on the card in force, by service code; empty where there is no card."""
    return {rate.service.code: terms_of(rate) for rate in rate_list(on=on)}


def target_on(*, on: date) -> HourlyTargetTerms:
    """The hourly target and reserve in force on a day. Raises ``NoTargetYet``."""
    row = HourlyTarget.objects.filter(effective_from__lte=on).order_by("-effective_from").first()
    if row is None:
        raise NoTargetYet(
            _("No hourly target is in force on %(day)s. The owner sets it on the rates page.") % {"day": on.isoformat()}
        )
    return HourlyTargetTerms(
        target_cents_per_crew_hour=row.target_cents_per_crew_hour,
        reserve_cents_per_crew_hour=row.reserve_cents_per_crew_hour,
    )


def target_list() -> QuerySet[HourlyTarget]:
    """Every target there was and will be, the latest first."""
    return HourlyTarget.objects.order_by("-effective_from")


def terms_of(rate: Rate) -> RateTerms:
    """A rate as the calculations take it; reads its service."""
    return RateTerms(
        service_code=rate.service.code,
        service_name=rate.service.name,
        unit=rate.service.unit,
        price_cents_per_100_units=rate.price_cents_per_100_units,
        minimum_price_cents=rate.minimum_price_cents,
        materials_cents_per_100_units=rate.materials_cents_per_100_units,
        setup_minutes=rate.setup_minutes,
        units_per_crew_hour=rate.units_per_crew_hour,
        units_per_crew_hour_high=rate.units_per_crew_hour_high,
    )
