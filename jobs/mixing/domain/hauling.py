"""How corrosives may ride on a truck under the "materials of trade" exception, 49 CFR 173.6(a)(1)(ii): class 8 of
packing group II or III in packages of at most 30 kg (66 lb) or 30 L (8 gal); (d), from memory: 200 kg (440 lb) in all.
Checked November 2026; not legal advice."""

PACKAGE_LARGEST_ML = 30_000
PACKAGE_LARGEST_GRAMS = 30_000
TRUCK_LARGEST_GRAMS = 200_000


def package_is_too_large(package_ml: int, gravity_thousandths: int | None) -> bool:
    """Whether one package is outside the exception. Without a specific gravity the liquid weighs as much as water."""
    grams = package_ml * (gravity_thousandths or 1000) / 1000
    return package_ml > PACKAGE_LARGEST_ML or grams > PACKAGE_LARGEST_GRAMS


def load_is_too_heavy(packages: list[tuple[int, int | None]]) -> bool:
    """Whether the truck's corrosives together are outside it; (millilitres, gravity in thousandths) of each."""
    return sum(ml * (gravity or 1000) / 1000 for ml, gravity in packages) > TRUCK_LARGEST_GRAMS
