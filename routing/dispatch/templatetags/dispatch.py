"""Words of the crew's pages: `{% load dispatch %}`."""

from django import template
from django.utils.translation import gettext as _

from routing.dispatch.domain.nozzles import nozzle_size
from routing.dispatch.models import MarkKind, Rig
from shared.units import us_gallons_from_ml
from shared.web.words import NOTHING, volume_words

register = template.Library()


@register.simple_tag
def mark_words(kind: str) -> str:
    """arrived, started, finished."""
    return str(MarkKind(kind).label)


@register.filter
def litres(litres: int) -> str:
    """A truck's tank as crews and office speak of it: in gallons."""
    return volume_words(litres * 1000)


@register.simple_tag
def nozzle_of(rig: Rig | None) -> str:
    """The size for the machine's flow and pressure, where both were measured."""
    if not isinstance(rig, Rig) or not rig.flow_ml_per_minute or not rig.pressure_psi:
        return NOTHING
    gallons = us_gallons_from_ml(rig.flow_ml_per_minute)
    words = _("size %(size).1f for %(flow).1f gal a minute at %(psi)s psi")
    return words % {"size": nozzle_size(gallons, rig.pressure_psi), "flow": gallons, "psi": rig.pressure_psi}
