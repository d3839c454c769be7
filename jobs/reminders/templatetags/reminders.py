"""Words of this room's pages."""

from django import template
from django.utils.translation import get_language

from pricing.catalogue.models import Service

register = template.Library()


@register.simple_tag
def service_words(service: Service) -> str:
    """The service's name in the reader's language, where it has one."""
    return service.name_es if get_language() == "es" and service.name_es else service.name


@register.filter
def percent(share: float) -> str:
    """`0.137` -> `14 %`."""
    return f"{round(100 * share)} %"
