from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.mixing.domain.strength import Basis
from jobs.work.domain.reactions import Chemistry


class BasisChoice(models.TextChoices):
    """What a percentage is a percentage of; see `jobs.mixing.domain.strength`."""

    TRADE = Basis.TRADE.value, _("trade percent (available chlorine, g/L / 10)")
    CHLORINE_WEIGHT = Basis.CHLORINE_WEIGHT.value, _("available chlorine, % by weight")
    HYPOCHLORITE_WEIGHT = Basis.HYPOCHLORITE_WEIGHT.value, _("sodium hypochlorite, % by weight")
    WEIGHT = Basis.WEIGHT.value, _("active matter, % by weight")
    VOLUME = Basis.VOLUME.value, _("product as bought, % by volume")


class ChemistryChoice(models.TextChoices):
    """What a product is, as far as it matters for what must not meet."""

    HYPOCHLORITE = Chemistry.HYPOCHLORITE.value, _("hypochlorite")
    ACID = Chemistry.ACID.value, _("acid")
    AMMONIA = Chemistry.AMMONIA.value, _("contains ammonia")
    ALKALINE = Chemistry.ALKALINE.value, _("alkaline cleaner")
    SURFACTANT = Chemistry.SURFACTANT.value, _("surfactant")
    OTHER = Chemistry.OTHER.value, _("other")


class Way(models.TextChoices):
    """How a mix gets to the surface; only what is carried in the truck's tank limits a day's plan."""

    INJECTOR = "injector", _("through the injector")
    TANK = "tank", _("mixed at the yard, in the truck's tank")
    AT_HOUSE = "at_house", _("mixed at the house")


class Surface(models.TextChoices):
    """What a limit is for: a material, any other wall, or a roof."""

    VINYL = "vinyl", _("vinyl")
    ALUMINIUM = "aluminium", _("aluminium")
    PAINTED_WOOD = "painted_wood", _("painted wood")
    FIBRE_CEMENT = "fibre_cement", _("fibre cement")
    BRICK = "brick", _("brick")
    STUCCO = "stucco", _("stucco")
    WALL = "wall", _("any other wall")
    ROOF = "roof", _("roof")


class Direction(models.TextChoices):
    """In which order a wall is wetted and treated. Published advice contradicts itself, so the company says."""

    BOTTOM_UP = "bottom_up", _("from the bottom up")
    TOP_DOWN = "top_down", _("from the top down")
