from argparse import ArgumentParser
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.plan import MixPlan, MixWish, mix_plan
from jobs.mixing.domain.strength import POINTS_PER_PERCENT, Basis, CannotMix, Strength
from jobs.mixing.words import parts_words, reason_words, strength_words
from shared.units import ml_from_us_gallons
from shared.web.words import volume_words

FIRST = "The product label, the safety data sheet, local code and licensed practice come first."


def basis_points(text: str) -> int:
    """A percentage as it is typed."""
    try:
        return int(Decimal(text) * POINTS_PER_PERCENT)
    except InvalidOperation as error:
        raise ValueError(text) from error


class Command(BaseCommand):
    help = "Reckons one mix: stock, water, parts, and what an injector can and cannot reach. Stores nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("stock", type=basis_points, help="strength of the stock, percent, such as 12.5")
        parser.add_argument("target", type=basis_points, help="strength at the surface, percent")
        parser.add_argument("gallons", type=float, help="US gallons at the surface")
        parser.add_argument("--basis", choices=[basis.value for basis in Basis], help="what the percentages are of")
        parser.add_argument("--gravity", type=float, help="specific gravity; a basis by weight needs it")
        parser.add_argument("--days", type=int, default=0, help="age of a hypochlorite")
        parser.add_argument("--stored-at", type=int, default=75, metavar="F", help="where it was kept")
        parser.add_argument("--draw", nargs=2, type=float, metavar=("DRAWN", "OUT"), help="injector, gallons")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 1 with the reason where it cannot be mixed."""
        if not options["basis"]:
            raise CommandError(reason_words("no_basis"))
        try:
            stock = self._stock(options)
            injector = Injector(*map(ml_from_us_gallons, options["draw"])) if options["draw"] else None
        except CannotMix as error:
            raise CommandError(reason_words(error.reason)) from error
        wish = MixWish(options["target"], stock.basis, "injector" if injector else "at_house", 100)
        plan = mix_plan(wish, stock, injector, ml_from_us_gallons(options["gallons"]))
        if plan.stop:
            raise CommandError(reason_words(plan.stop))
        self._print(stock, plan)

    def _stock(self, options: dict[str, Any]) -> Strength:
        gravity = options["gravity"]
        bought = Strength(options["stock"], Basis(options["basis"]), None if gravity is None else int(gravity * 1000))
        return strength_after(bought, options["days"], options["stored_at"]) if options["days"] else bought

    def _print(self, stock: Strength, plan: MixPlan) -> None:
        self.stdout.write(f"stock today   {strength_words(stock.basis_points, stock.basis)}")
        self.stdout.write(f"at surface    {strength_words(plan.surface_basis_points, plan.basis)}")
        if not plan.is_reached:
            self.stdout.write(
                f"NOT REACHED   this injector cannot exceed that; {plan.target_basis_points / 100:g} % was asked"
            )
        self.stdout.write(f"stock         {volume_words(plan.stock_ml)}")
        self.stdout.write(f"water         {volume_words(plan.water_ml)}  ({parts_words(plan.water_parts)})")
        if plan.hose_water_ml:
            self.stdout.write(f"from the hose {volume_words(plan.hose_water_ml)}")
        self.stdout.write(FIRST)
