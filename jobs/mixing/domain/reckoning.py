"""One mix from figures alone: the same for page, command and API."""

from dataclasses import dataclass

from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.plan import MixPlan, MixWish, mix_plan
from jobs.mixing.domain.strength import Basis, CannotMix, Strength


@dataclass(frozen=True, slots=True)
class MixQuestion:
    """A stock as it was bought, or as a strip said `age_days` ago, and what is wanted at the surface. Without an
    injector a batch of `surface_ml` is mixed."""

    stock: Strength
    target_basis_points: int
    target_basis: Basis
    surface_ml: int
    age_days: int = 0
    storage_f: int = 75
    injector: Injector | None = None


@dataclass(frozen=True, slots=True)
class MixAnswer:
    """The stock as it is taken to be today, and the mix; `plan.stop` is always empty."""

    now: Strength
    plan: MixPlan


def mix_reckon(question: MixQuestion) -> MixAnswer:
    """Raises CannotMix with the reason where it cannot be mixed."""
    stock, age = question.stock, question.age_days
    now = strength_after(stock, age, question.storage_f) if age else stock
    way = "injector" if question.injector else "at_house"
    wish = MixWish(question.target_basis_points, question.target_basis, way, 100)
    plan = mix_plan(wish, now, question.injector, question.surface_ml)
    if plan.stop:
        raise CannotMix(plan.stop)
    return MixAnswer(now, plan)
