"""Starting values, and setting a target."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError

from pricing.catalogue.models import HourlyTarget, Rate, RateCard, Service, Skill
from pricing.catalogue.selectors import rate_terms, target_on
from pricing.catalogue.services import catalogue_defaults, target_set
from pricing.estimates.domain import line_estimate
from shared.errors import Refused
from shared.events.models import Event

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)


def counts():
    return [model.objects.count() for model in (Service, Skill, RateCard, Rate, HourlyTarget, Event)]


def test_starting_values_make_a_whole_catalogue():
    """Eight services with rates, skills where they are needed, one card, one target."""
    card = catalogue_defaults(on=TODAY)
    assert card.effective_from == TODAY
    assert counts()[:5] == [8, 4, 1, 8, 1]
    assert {skill.code for skill in Service.objects.get(code="roof_wash").skills.all()} == {"roof", "ladder"}
    assert list(Service.objects.filter(removes_chalk=True).values_list("code", flat=True)) == ["chalk_removal"]
    assert target_on(on=TODAY).target_cents_per_crew_hour == 175_00
    for terms in rate_terms(on=TODAY).values():
        assert line_estimate(terms, 10, 2).price_cents > 0


def test_starting_twice_changes_nothing():
    """A second run, on a later day, adds neither rows nor events and moves nothing."""
    first = catalogue_defaults(on=TODAY)
    before = counts()
    assert catalogue_defaults(on=TODAY + timedelta(days=90)) == first
    assert counts() == before


def test_what_the_owner_changed_stays():
    """A service that was renamed keeps its name and skills."""
    catalogue_defaults(on=TODAY)
    roof = Service.objects.get(code="roof_wash")
    roof.name = "Roof care"
    roof.save()
    roof.skills.clear()
    catalogue_defaults(on=TODAY)
    roof.refresh_from_db()
    assert (roof.name, roof.skills.count()) == ("Roof care", 0)


def set_target(owner, **over):
    values = {
        "effective_from": TODAY,
        "target_cents": 190_00,
        "reserve_cents": 120_00,
        "today": TODAY,
        "actor": owner,
    }
    return target_set(**{**values, **over})


def test_a_new_target_keeps_the_old_one(owner):
    """Yesterday is still judged by yesterday's target."""
    HourlyTarget.objects.create(effective_from=date(2026, 1, 1), target_cents_per_crew_hour=175_00)
    set_target(owner)
    assert target_on(on=TODAY - timedelta(days=1)).target_cents_per_crew_hour == 175_00
    assert target_on(on=TODAY).target_cents_per_crew_hour == 190_00
    assert Event.objects.get(kind="target.set").actor == owner


def test_the_same_day_again_replaces_and_the_event_keeps_both(owner):
    """A typing mistake can be put right the same day; the history shows what it said before."""
    set_target(owner)
    set_target(owner, target_cents=185_00)
    assert HourlyTarget.objects.get().target_cents_per_crew_hour == 185_00
    assert Event.objects.order_by("id").last().data["before"] == [190_00, 120_00]


def test_the_past_is_not_judged_anew(owner):
    """A target cannot start yesterday."""
    with pytest.raises(Refused, match="today or later"):
        set_target(owner, effective_from=TODAY - timedelta(days=1))
    assert not HourlyTarget.objects.exists()


def test_the_reserve_stays_below_the_target(owner):
    """A least that is more than the aim makes no sense."""
    with pytest.raises(ValidationError, match="reserve must not be above"):
        set_target(owner, reserve_cents=190_01)
    assert not HourlyTarget.objects.exists()
