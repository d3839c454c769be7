"""What estimates are made from and changed with, as pages, programs and the rooms above hand it in."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service

FOLDER = "estimates"  # below MEDIA_ROOT: the printed PDFs


@dataclass(frozen=True, slots=True)
class WallFacts:
    """A wall as it is known: `chalk` is the newest reading that still stands, 0 to 5, or None."""

    wall_ref: int
    name: str
    kind: str
    area_sqft: int | None
    material: str = ""
    chalk: float | None = None


@dataclass(frozen=True, slots=True)
class PlaceFacts:
    """The property and its customer as they are printed and reckoned with; `access` and `soil` as somebody said."""

    property_ref: int
    address: str
    customer_name: str
    language: str
    storeys: int
    year_built: int | None = None
    walls: tuple[WallFacts, ...] = ()
    access: Access = Access.USUAL
    soil: Soil = Soil.USUAL


@dataclass(frozen=True, slots=True)
class DriveFacts:
    """The share of driving at a place; `basis` is one of `DriveBasis`, `days` how many it was taken from."""

    minutes: int
    metres: int
    basis: str
    days: int = 0
    source: str = ""


@dataclass(frozen=True, slots=True)
class WantedLine:
    """A service that is asked for. Without a quantity it is the area of its walls, without walls that of all.

    `separately`: it is offered beside the rest, as an option of its own.
    """

    service: Service
    quantity: int | None = None
    walls: tuple[WallFacts, ...] = ()
    separately: bool = False


@dataclass(frozen=True, slots=True)
class LineChange:
    """Other figures for a line; None leaves one as it is."""

    line_id: int
    minutes: int | None = None
    price_cents: int | None = None
    materials_cents: int | None = None


@dataclass(frozen=True, slots=True)
class OptionChange:
    option_id: int
    name: str | None = None
    discount_cents: int | None = None


@dataclass(frozen=True, slots=True)
class EstimateChange:
    """What the office wants otherwise; None leaves a figure as it is. `tax_millionths` counts where `sets_tax`."""

    lines: Sequence[LineChange] = field(default=())
    options: Sequence[OptionChange] = field(default=())
    drive_minutes: int | None = None
    valid_until: date | None = None
    note: str | None = None
    sets_tax: bool = False
    tax_millionths: int | None = None


@dataclass(frozen=True, slots=True)
class AgreedLine:
    """A line as the rooms above take it over."""

    service_code: str
    quantity: int
    price_cents: int
    card_price_cents: int | None
    materials_cents: int
    minutes: int
    wall_refs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Recipient:
    """Where a message may go. `zone`: the IANA zone whose hours the person keeps."""

    address: str
    name: str
    language: str
    zone: str
