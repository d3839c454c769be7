"""Turns in words, in the language of the reader."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from routing.roads.domain.way import Step, Turn
from shared.units import feet_from_metres, round_half_up
from shared.web.words import miles_words

SHORT_METRES = 150  # below it feet are easier to judge than tenths of a mile
FEET_STEP = 50

COMPASS = (
    gettext_lazy("north"), gettext_lazy("north-east"), gettext_lazy("east"), gettext_lazy("south-east"),
    gettext_lazy("south"), gettext_lazy("south-west"), gettext_lazy("west"), gettext_lazy("north-west"),
)  # fmt: skip
INTO = {
    Turn.STRAIGHT: gettext_lazy("straight on into %(street)s"),
    Turn.SLIGHT_LEFT: gettext_lazy("bear left into %(street)s"),
    Turn.LEFT: gettext_lazy("left into %(street)s"),
    Turn.SHARP_LEFT: gettext_lazy("sharp left into %(street)s"),
    Turn.SLIGHT_RIGHT: gettext_lazy("bear right into %(street)s"),
    Turn.RIGHT: gettext_lazy("right into %(street)s"),
    Turn.SHARP_RIGHT: gettext_lazy("sharp right into %(street)s"),
    Turn.BACK: gettext_lazy("turn round into %(street)s"),
}
ONLY = {
    Turn.STRAIGHT: gettext_lazy("straight on"),
    Turn.SLIGHT_LEFT: gettext_lazy("bear left"),
    Turn.LEFT: gettext_lazy("left"),
    Turn.SHARP_LEFT: gettext_lazy("sharp left"),
    Turn.SLIGHT_RIGHT: gettext_lazy("bear right"),
    Turn.RIGHT: gettext_lazy("right"),
    Turn.SHARP_RIGHT: gettext_lazy("sharp right"),
    Turn.BACK: gettext_lazy("turn round"),
}


def step_words(step: Step) -> str:
    """ "left into Mill Lane, 0.4 mi"."""
    return f"{_turn_words(step)}, {_far_words(step.metres)}"


def _far_words(metres: int) -> str:
    if metres >= SHORT_METRES:
        return miles_words(metres)
    return f"{max(1, round_half_up(feet_from_metres(metres) / FEET_STEP)) * FEET_STEP} ft"


def _turn_words(step: Step) -> str:
    names = {"street": step.street, "exit": step.exit, "heading": COMPASS[round(step.heading / 45) % 8]}
    if step.turn == Turn.START:
        words = _("%(heading)s on %(street)s") if step.street else _("set out %(heading)s")
    elif step.turn == Turn.ROUNDABOUT:
        words = _("roundabout, exit %(exit)s into %(street)s") if step.street else _("roundabout, exit %(exit)s")
    else:
        words = str((INTO if step.street else ONLY)[step.turn])
    return words % names
