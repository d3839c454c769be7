"""Products, stocks, mixes and rigs of the demo company. Names and labels are invented; strengths are those that the
trade commonly uses, no source."""

from datetime import date, timedelta

from jobs.mixing.choices import BasisChoice, ChemistryChoice, Way
from jobs.mixing.models import Product
from jobs.mixing.services import direction_set, limits_start, mix_set, product_save, stock_receive, strip_record
from pricing.catalogue.models import Service
from routing.dispatch.services import rig_set
from routing.plans.models import Truck
from shared.units import ml_from_us_gallons

JUG_GALLONS = 5
INJECTOR_OUT_GALLONS = 5.5
# Gallons drawn while 5.5 leave the hose; the last truck's injector is worn and cannot reach the house wash.
DRAWN_GALLONS = (0.62, 0.6, 0.58, 0.38)


def mixing_store(*, today: date) -> None:
    """What is on the shelf, what each service takes, and what each truck's injector draws."""
    bleach, cleaner, brightener = _products(today)
    stock = stock_receive(
        product=bleach,
        received_on=today - timedelta(days=19),
        basis_points=1250,
        basis=BasisChoice.TRADE,
        gravity_thousandths=1160,
        storage_f=72,
        package_ml=ml_from_us_gallons(JUG_GALLONS),
        packages=7,
        today=today,
    )
    strip_record(
        stock=stock, read_on=today - timedelta(days=4), basis_points=1180, basis=BasisChoice.TRADE, today=today
    )
    for product in (cleaner, brightener):
        stock_receive(
            product=product,
            received_on=today - timedelta(days=60),
            basis_points=10_000,
            basis=BasisChoice.VOLUME,
            package_ml=ml_from_us_gallons(1),
            packages=6,
            today=today,
        )
    limits_start(today=today)
    direction_set(direction="bottom_up")
    _mixes(bleach, cleaner, brightener, today)
    _rigs(today)


def _products(today: date) -> tuple[Product, Product, Product]:
    return (
        product_save(
            name="Stock bleach",
            chemistry=ChemistryChoice.HYPOCHLORITE,
            label_words="Dilute with water only. Never mix with acids or ammonia.",
            label_read_on=today,
            dwell_minutes=8,
            data_sheet="binder in each cab, sheet 1",
            is_corrosive=True,
        ),
        product_save(
            name="Chalk cleaner",
            chemistry=ChemistryChoice.ALKALINE,
            label_words="1 part to 3 parts water on siding. Do not let dry.",
            label_read_on=today,
            strongest_basis_points=2_500,
            strongest_basis=BasisChoice.VOLUME,
            dwell_minutes=2,
            data_sheet="binder in each cab, sheet 2",
            is_corrosive=True,
        ),
        product_save(
            name="Deck brightener",
            chemistry=ChemistryChoice.ACID,
            label_words="1 part to 9 parts water. Rinse the wood first.",
            label_read_on=today,
            strongest_basis_points=1_000,
            strongest_basis=BasisChoice.VOLUME,
            dwell_minutes=5,
            data_sheet="binder in each cab, sheet 3",
        ),
    )


def _mixes(bleach: Product, cleaner: Product, brightener: Product, today: date) -> None:
    rows = (
        ("house_wash", 1, bleach, 110, BasisChoice.TRADE, Way.INJECTOR, 1.6),
        ("chalk_removal", 1, cleaner, 2_500, BasisChoice.VOLUME, Way.AT_HOUSE, 0.6),
        ("roof_wash", 1, bleach, 350, BasisChoice.TRADE, Way.TANK, 1.4),
        ("deck_wash", 1, bleach, 100, BasisChoice.TRADE, Way.AT_HOUSE, 1.5),
        ("deck_wash", 2, brightener, 1_000, BasisChoice.VOLUME, Way.AT_HOUSE, 1.0),
    )
    services = {service.code: service for service in Service.objects.all()}
    for code, position, product, points, basis, way, gallons in rows:
        mix_set(
            service=services[code],
            position=position,
            product=product,
            target_basis_points=points,
            target_basis=basis,
            way=way,
            surface_ml_per_100_units=ml_from_us_gallons(gallons),
            today=today,
        )


def _rigs(today: date) -> None:
    for truck, drawn in zip(Truck.objects.order_by("code"), DRAWN_GALLONS, strict=True):
        rig_set(
            truck=truck,
            drawn_ml=ml_from_us_gallons(drawn),
            out_ml=ml_from_us_gallons(INJECTOR_OUT_GALLONS),
            measured_on=today - timedelta(days=12),
            flow_ml_per_minute=ml_from_us_gallons(5.5),
            pressure_psi=2_500,
            jug_ml=ml_from_us_gallons(JUG_GALLONS),
            eyewash_ml=ml_from_us_gallons(6.5),
        )
