import json
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Callable
from dataclasses import asdict
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from jobs.mixing.choices import Surface
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.reckoning import MixAnswer, MixQuestion, mix_reckon
from jobs.mixing.domain.strength import CHLORINE, POINTS_PER_PERCENT, Basis, CannotMix, Strength
from jobs.mixing.mix_words import limit_words, plan_words, pours_of, unreached_words
from jobs.mixing.selectors import Limited, limited, limits_by_surface
from jobs.mixing.words import reason_words, strength_words
from shared.units import ml_from_us_gallons

FIRST = "The product label, the safety data sheet, local code and licensed practice come first."
MOST_GALLONS = 10_000


def number(least: float, most: float) -> Callable[[str], Decimal]:
    """A number as it is typed, within bounds."""

    def read(text: str) -> Decimal:
        try:
            value = Decimal(text)
        except InvalidOperation as error:
            raise ArgumentTypeError(f"{text!r} is no number") from error
        if not (value.is_finite() and Decimal(str(least)) <= value <= Decimal(str(most))):
            raise ArgumentTypeError(f"{text} is not from {least} to {most}")
        return value

    return read


def basis_points(text: str) -> int:
    """A percentage as it is typed."""
    return int(number(0, 100)(text) * POINTS_PER_PERCENT)


class Command(BaseCommand):
    help = "Reckons one mix: stock, water, parts, and what an injector can and cannot reach. Stores nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        bases, gallons = [basis.value for basis in Basis], number(0.001, MOST_GALLONS)
        parser.add_argument("stock", type=basis_points, help="strength of the stock, percent, such as 12.5")
        parser.add_argument("target", type=basis_points, help="strength at the surface, percent")
        parser.add_argument("gallons", type=gallons, help="US gallons at the surface")
        parser.add_argument("--basis", choices=bases, help="what the percentages are of")
        parser.add_argument("--target-basis", choices=bases, help="of the target, where it is another one")
        parser.add_argument("--gravity", type=number(0.7, 2), help="specific gravity; a basis by weight needs it")
        parser.add_argument("--days", type=int, default=0, help="since it came, or since a strip said so; it fades")
        parser.add_argument("--stored-at", type=int, default=75, metavar="F", help="where it was kept")
        parser.add_argument("--draw", nargs=2, type=gallons, metavar=("DRAWN", "OUT"), help="injector, gallons")
        parser.add_argument("--surface", choices=Surface.values, help="compare with the owner's limit for it")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 1 with the reason where it cannot be mixed."""
        if not options["basis"]:
            raise CommandError(reason_words("no_basis"))
        try:
            question = self._question(options)
            answer = mix_reckon(question)
        except CannotMix as error:
            raise CommandError(reason_words(error.reason)) from error
        limit = self._limit(options["surface"], question, answer)
        if options["json"]:
            self.stdout.write(json.dumps(self._facts(answer, limit)))
            return
        self._print(question, answer, limit)

    def _question(self, options: dict[str, Any]) -> MixQuestion:
        gravity, draw = options["gravity"], options["draw"]
        basis = Basis(options["basis"])
        return MixQuestion(
            stock=Strength(options["stock"], basis, None if gravity is None else int(gravity * 1000)),
            target_basis_points=options["target"],
            target_basis=Basis(options["target_basis"] or basis),
            surface_ml=ml_from_us_gallons(float(options["gallons"])),
            age_days=options["days"],
            storage_f=options["stored_at"],
            injector=Injector(*(ml_from_us_gallons(float(part)) for part in draw)) if draw else None,
        )

    def _limit(self, surface: str | None, question: MixQuestion, answer: MixAnswer) -> Limited | None:
        if not surface or question.target_basis not in CHLORINE:
            return None
        wanted = Strength(question.target_basis_points, question.target_basis)
        return limited(limits_by_surface(), surface, wanted, answer.now)

    def _facts(self, answer: MixAnswer, limit: Limited | None) -> dict[str, Any]:
        facts = asdict(answer.plan) | {"stock_today_basis_points": answer.now.basis_points}
        return facts | {"is_above_limit": None if limit is None else limit.is_above}

    def _print(self, question: MixQuestion, answer: MixAnswer, limit: Limited | None) -> None:
        plan = answer.plan
        (pour,) = pours_of(plan, None)
        self.stdout.write(f"stock today   {strength_words(answer.now.basis_points, answer.now.basis)}")
        self.stdout.write(f"at surface    {strength_words(plan.surface_basis_points, plan.basis)}")
        self.stdout.write(f"stock         {pour.stock}")
        self.stdout.write(f"water         {pour.water or 'none'}")
        if not plan.is_reached:
            self.stdout.write(f"NOT REACHED   {unreached_words(plan)}")
        for words in plan_words(plan, question.injector):
            self.stdout.write(words)
        if limit is not None:
            self.stdout.write(limit_words(limit))
        self.stdout.write(FIRST)
