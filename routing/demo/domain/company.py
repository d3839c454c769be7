"""The demo company itself: its yard, trucks, crews, and the people who sign in."""

from dataclasses import dataclass
from datetime import date, timedelta

COMPANY_NAME = "Tallowick Exterior Wash"
YARD_CODE = "tallowick"
YARD_NAME = "Tallowick yard"
TIMEZONE = "America/Chicago"
COMPANY_PHONE = "+15005550199"
COMPANY_EMAIL = "office@example.com"
WAGE_BURDEN_PERCENT = 12
PASSWORD_ENDING = "-on-the-ladder"  # noqa: S105  printed for all to see, made by the demo only


@dataclass(frozen=True, slots=True)
class PersonSpec:
    """Somebody who signs in to the demo."""

    username: str
    first_name: str
    last_name: str
    role: str
    language: str = "en"

    @property
    def password(self) -> str:
        """Printed by the demo command; good for nothing but the demo."""
        return self.username + PASSWORD_ENDING


@dataclass(frozen=True, slots=True)
class CrewSpec:
    """A crew with its truck. The wage is the whole crew's; `since_days` is how long it has been with us."""

    code: str
    name: str
    lead: PersonSpec
    skills: frozenset[str]
    wage_cents_per_hour: int
    pace_percent: int
    mix_litres: int
    gear: str
    cents_per_km: int
    since_days: int
    helper: str
    saturdays: bool = False
    workers: int = 2

    @property
    def members(self) -> tuple[tuple[str, int], ...]:
        """Names with their wages in cents an hour, which add up to the crew's; the lead earns a little more."""
        lead = self.wage_cents_per_hour * 54 // 100
        return (f"{self.lead.first_name} {self.lead.last_name}", lead), (self.helper, self.wage_cents_per_hour - lead)

    def works_on(self, day: date, *, today: date) -> bool:
        """Whether the crew existed and was on shift on a day of the past (Saturdays were rare)."""
        return day.weekday() < 5 and (today - day).days <= self.since_days


OWNER = PersonSpec("owner", "Maren", "Hadderidge", "owner")
OFFICE = PersonSpec("office", "Petra", "Quenlock", "office")

CREWS = (
    CrewSpec(
        "heron", "Heron", PersonSpec("heron", "Lewin", "Brendock", "crew_lead"),
        frozenset({"roof", "ladder", "surface_cleaner"}), 56_00, 95, 260,
        "Roof pump, 40 ft ladder, surface cleaner, 65 gal tank", 52, 1_200, "Odell Parnwick",
    ),
    CrewSpec(
        "kingfisher", "Kingfisher", PersonSpec("kingfisher", "Marisol", "Galandero", "crew_lead", "es"),
        frozenset({"ladder", "surface_cleaner"}), 48_00, 100, 220,
        "28 ft ladder, surface cleaner, brushes and poles", 47, 800, "Rafael Quintobel", saturdays=True,
    ),
    CrewSpec(
        "otter", "Otter", PersonSpec("otter", "Tobin", "Ramwain", "crew_lead"),
        frozenset({"ladder", "surface_cleaner", "pure_water"}), 45_00, 100, 220,
        "28 ft ladder, surface cleaner, pure-water pole", 47, 430, "Sunniva Larkmoor",
    ),
    CrewSpec(
        "wren", "Wren", PersonSpec("wren", "Jessa", "Kedfitt", "crew_lead"),
        frozenset({"surface_cleaner"}), 38_00, 110, 160,
        "Surface cleaner, brushes, no ladder over 8 ft", 41, 150, "Denny Ashcombel",
    ),
)  # fmt: skip

SHIFT_START, SHIFT_END = 7 * 60 + 30, 16 * 60 + 30
LATE_SHIFT_END = 17 * 60  # two crews may run into overtime
SATURDAY_START, SATURDAY_END = 8 * 60, 13 * 60
BREAK_MINUTES, BREAK_FROM, BREAK_UNTIL = 30, 11 * 60, 13 * 60 + 30
OVERTIME_AFTER_MINUTES = 480


def people() -> list[PersonSpec]:
    """Everybody who signs in, the owner first."""
    return [OWNER, OFFICE, *(crew.lead for crew in CREWS)]


def next_working_day(day: date) -> date:
    """The first Monday to Friday on or after `day`."""
    while day.weekday() > 4:
        day += timedelta(days=1)
    return day
