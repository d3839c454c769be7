"""The lines of the due list as the database finds them: counted, cut into pages and ordered there, made here."""

from collections import namedtuple
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple

from django.db import connection
from django.utils import translation
from django.utils.translation import gettext as _

from jobs.chalking.models import ChalkSetting
from jobs.chalking.selectors import chalk_setting_get
from jobs.customers.models import address_line
from jobs.reminders import line_sql
from jobs.reminders.domain.consent import EMAIL, TEXT, Obstacle, wait_until
from jobs.reminders.domain.due import CHALK, Cause, Fact, ForecastFact, IntervalFact, ReadingFact, due_key
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.expected import Basis, basis_get
from jobs.reminders.selectors import DueItem
from jobs.reminders.wording import (
    consent_words,
    expected_words,
    held_back_words,
    hold_words,
    interval_words,
    obstacle_words,
    read_words,
    reading_words,
    reminded_words,
    wait_words,
)
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get

ROWS_AT_ONCE = 500
A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Condition:
    """What lines must meet, as SQL on `j`, with its parameters."""

    sql: str = "1 = 1"
    parameters: Mapping[str, Any] = field(default_factory=dict)


class Counts(NamedTuple):
    """All that is due, what of it may be reminded now, and the same of what meets a condition."""

    due: int
    ready: int
    wanted: int
    wanted_ready: int


@dataclass(frozen=True)
class Question:
    """What every look at the list needs to know beforehand; read once."""

    today: date
    lead_days: int
    company: Company
    setting: ChalkSetting
    basis: Basis

    @property
    def chalk_counts(self) -> bool:
        return CHALK in self.basis.services

    def parameters(self) -> dict[str, Any]:
        zone, day = self.company.timezone, connection.ops.adapt_datefield_value
        gap = timedelta(days=self.company.reminder_gap_days)
        return {
            "today": day(self.today),
            "last_day": day(self.today + timedelta(days=self.lead_days)),
            "zone": zone,
            "limit": self.setting.limit_decimal,
            "half_steps": self.setting.limit_half_steps,
            "held_since": self.instant(self.today - ANSWERED_WITHIN + A_DAY),
            "gap_since": self.instant(self.today - gap + A_DAY),
        }

    def instant(self, day: date) -> Any:
        """The beginning of a day as the database compares it."""
        return connection.ops.adapt_datetimefield_value(clock.midnight(day, self.company.timezone))


def question(*, today: date, lead_days: int | None = None) -> Question:
    company = company_get()
    return Question(
        today=today,
        lead_days=company.reminder_lead_days if lead_days is None else lead_days,
        company=company,
        setting=chalk_setting_get(),
        basis=basis_get(today=today, zone=company.timezone),
    )


def line_counts(asked: Question, condition: Condition) -> Counts:
    """One query, however long the list is."""
    statement = line_sql.counts_sql(connection.vendor, wanted=condition.sql, **_chalk(asked))
    with connection.cursor() as cursor:
        cursor.execute(statement, {**asked.parameters(), **condition.parameters})
        return Counts(*cursor.fetchone())


def line_items(
    asked: Question, condition: Condition, *, first: int = 0, most: int | None = None, order: str = ""
) -> Iterator[DueItem]:
    """All lines, read from the database as they are wanted; or at most `most` of them from the `first` on."""
    rows = _rows(asked, condition, _columns(connection.vendor), first, most, order)
    return map(_Maker(asked).item, map(_with_days, rows) if connection.vendor == "sqlite" else rows)


def _columns(vendor: str) -> str:
    """Those of a line; which days are meant is the vendor's to spell, `{last_minutes}` is left to the statement."""
    days = {name: line_sql.local_day(vendor, at) for name, at in LOCAL_DAYS.items()}
    return ", ".join(COLUMNS.values()).format(last_minutes="{last_minutes}", **days)


def line_keys(asked: Question, condition: Condition, *, most: int) -> list[str]:
    """The keys of the first lines."""
    found = _rows(asked, condition, "j.property_id, j.kind, j.due_on", 0, most, "")
    return [due_key(place, kind, _day(due_on)) for place, kind, due_on in found]


def _rows(
    asked: Question, condition: Condition, columns: str, first: int, most: int | None, order: str
) -> Iterator[tuple[Any, ...]]:
    vendor = connection.vendor
    statement = line_sql.lines_sql(
        vendor, columns=columns, wanted=condition.sql, order=order or line_sql.in_order(vendor), is_whole=most is None,
        **_chalk(asked),
    )  # fmt: skip
    with connection.chunked_cursor() if most is None else connection.cursor() as cursor:
        cursor.execute(statement, {**asked.parameters(), **condition.parameters, "first": first, "most": most})
        while rows := cursor.fetchmany(ROWS_AT_ONCE):
            yield from rows


def _chalk(asked: Question) -> dict[str, Any]:
    return {"chalk_counts": asked.chalk_counts, "passes_on": f"{asked.setting.due_when}_on"}


# In the order in which `_Maker.item` takes them apart; what stands in the way of a reminder comes last.
COLUMNS = {
    "property_id": "j.property_id",
    "customer_id": "j.customer_id",
    "kind": "j.kind",
    "due_on": "j.due_on",
    "state": "j.state",
    "channel": "j.channel",
    "interval_months": "j.interval_months",
    "last_done_on": "j.last_done_on",
    "wall_id": "j.wall_id",
    "wall_name": "j.wall_name",
    "wall_kind": "j.wall_kind",
    "facing_degrees": "j.facing_degrees",
    "reading": "j.reading",
    "read_on": "j.read_on",
    "passes_on": "j.passes_on",
    "early_on": "j.early_on",
    "late_on": "j.late_on",
    "more_walls": "j.more_walls",
    "wall_list": "j.wall_list",
    "street": "j.street",
    "city": "j.city",
    "region": "j.region",
    "postal_code": "j.postal_code",
    "latitude": "j.latitude",
    "longitude": "j.longitude",
    "storeys": "j.storeys",
    "customer_name": "j.name",
    "email": "j.email",
    "phone_e164": "j.phone_e164",
    "language": "j.language",
    "area_sqft": line_sql.AREA,
    "last_minutes": "{last_minutes}",
    "contact_on": "{contact_day}",
    "agreed_on": "{agreed_day}",
    "held_back_on": "{held_back_day}",
    "told_at": "j.told_at",
    "told_state": line_sql.TOLD_STATE,
    "hold_id": "j.hold_id",
    "hold_until": "j.hold_until",
    "mail_no_at": line_sql.MAIL_NO_AT,
    "mail_closed_at": "j.mail_closed_at",
    "text_no_at": line_sql.TEXT_NO_AT,
    "agreed_to_texts": "j.text_yes_at IS NOT NULL",
    "text_closed_at": "j.text_closed_at",
    "unread_at": "j.unread_at",
}
LOCAL_DAYS = {"contact_day": "j.contact_at", "agreed_day": line_sql.AGREED_AT, "held_back_day": "j.held_back_at"}
Row = namedtuple("Row", COLUMNS)  # type: ignore[misc]  # noqa: PYI024
_DAYS = {at for at, name in enumerate(COLUMNS) if name.endswith(("_on", "_until"))}


class _Remembered:
    """What lines say again and again, in the reader's language: made once for each few hundred dates and areas."""

    def __init__(self, asked: Question) -> None:
        zone, today, gap_days = asked.company.timezone, asked.today, asked.company.reminder_gap_days
        self.card = lru_cache(maxsize=8192)(asked.basis.card)
        self.chance = _once(asked.basis.chance)
        self.interval = _once(interval_words)
        self.reading = _once(_reading)
        self.town = _once(lambda *town: address_line("", *town))
        self.consent = _once(consent_words)
        self.reminded = _once(lambda at, state: reminded_words(at, state, zone))
        self.obstacles = _once(lambda *each: _("; ").join(obstacle_words(hindrance, zone) for hindrance in each))
        self.wait = _once(lambda last: wait_words(last, wait_until(last, today=today, gap_days=gap_days) or today))


_once = lru_cache(maxsize=4096)


_Wall = tuple[int, int, str, str, int | None]  # house, number, name, kind and degrees


class _Maker:
    """Turns rows into lines."""

    def __init__(self, asked: Question) -> None:
        self._asked = asked
        self._limit = asked.setting.limit_decimal
        self._limit_words = reading_words(self._limit)
        self._language = translation.get_language() or "en"
        self._known = _Remembered(asked)
        self._names = {kind: (each.name, each.removes_chalk) for kind, each in asked.basis.services.items()}

    def item(self, row: tuple[Any, ...]) -> DueItem:
        """The columns are taken apart at once and the line is filled by place: by name both take half as long again."""
        (
            property_id, customer_id, kind, due_on, state, channel, months, last_done_on,
            wall_id, wall_name, wall_kind, facing_degrees, reading, read_on, passes_on, early_on, late_on, more_walls,
            wall_list, street, city, region, postal_code, latitude, longitude, storeys, customer_name, email, phone,
            language, area_sqft, last_minutes, contact_on, agreed_on, *_in_the_way,
        ) = row  # fmt: skip
        known = self._known
        service_name, removes_chalk = self._names[kind]
        if wall_id is None:
            fact: Fact = IntervalFact(property_id, kind, removes_chalk, months, last_done_on, due_on)
            reason = known.interval(service_name, months, last_done_on, due_on)
            wall_ids: tuple[int, ...] = ()
        else:
            wall = (property_id, wall_id, wall_name, wall_kind, facing_degrees)
            days = None if passes_on is None else (passes_on, early_on, late_on)
            fact, reason = self._of_wall(wall, reading, read_on, days, more_walls)
            wall_ids = _wall_ids(wall_id, wall_list)
        town = known.town(city, region, postal_code)
        card = known.card(kind, storeys, area_sqft)
        return DueItem(
            due_key(property_id, kind, due_on),
            property_id,
            customer_id,
            customer_name,
            f"{street}, {town}" if town else street,
            street,
            None if latitude is None or longitude is None else (latitude, longitude),
            kind,
            service_name,
            due_on,
            reason,
            language,
            contact_on,
            state,
            channel,
            email if channel == EMAIL else phone if channel == TEXT else "",
            known.consent(agreed_on, channel) if channel else "",
            "" if state == "ready" else self._why_not(Row._make(row)),
            card.price_cents,
            card.minutes if last_minutes is None else last_minutes,
            known.chance(kind, channel),
            Cause(fact, more_walls, self._limit),
            wall_ids,
        )

    def _of_wall(
        self, wall: _Wall, read: Any, read_on: date, days: tuple[date, date, date] | None, more_walls: int
    ) -> tuple[Fact, str]:
        """What was read on a wall or is expected of it, and the same in words."""
        reading, words = self._known.reading(read)
        said = (words, read_on, more_walls, self._limit_words, self._language)
        if days is None:
            return ReadingFact(*wall, reading, read_on), read_words(wall[2], *said)
        passes_on, early_on, late_on = days
        return ForecastFact(*wall, reading, read_on, *days), expected_words(
            wall[2], passes_on, early_on, late_on, *said
        )

    def _why_not(self, row: Any) -> str:
        """What stands in the way, in the order in which it counts."""
        if row.told_at:
            return self._known.reminded(_instant(row.told_at), row.told_state)
        if row.hold_id is not None:
            return hold_words(row.hold_until)
        if row.held_back_on:
            return held_back_words(row.held_back_on + ANSWERED_WITHIN)
        if not row.channel:
            return self._known.obstacles(*_obstacles(row))
        return self._known.wait(row.contact_on)


def _wall_ids(wall_id: int, wall_list: str | None) -> tuple[int, ...]:
    """The list is given where there is more than the wall of the reason."""
    return (wall_id,) if wall_list is None else tuple(sorted(map(int, wall_list.split(","))))


def _obstacles(row: Any) -> list[Obstacle]:
    """Of mail, then of texts; in the order in which `domain.consent` asks."""
    unread_at = _instant(row.unread_at)
    mail = _obstacle(EMAIL, row.email, row.mail_no_at)
    if mail is None:
        closed_at = _instant(row.mail_closed_at)
        mail = Obstacle(EMAIL, "closed", closed_at) if closed_at else Obstacle(EMAIL, "unread", unread_at)
    text = _obstacle(TEXT, row.phone_e164, row.text_no_at)
    if text is None and not row.agreed_to_texts:
        text = Obstacle(TEXT, "no_consent")
    if text is None:
        text = (
            Obstacle(TEXT, "unread", unread_at) if unread_at else Obstacle(TEXT, "closed", _instant(row.text_closed_at))
        )
    return [mail, text]


def _obstacle(channel: str, address: str, refused_at: Any) -> Obstacle | None:
    if not address:
        return Obstacle(channel, "no_address")
    return Obstacle(channel, "opted_out", _instant(refused_at)) if refused_at else None


def _with_days(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """SQLite gives what it computed as text."""
    return tuple(_day(value) if at in _DAYS else value for at, value in enumerate(row))


def _day(value: Any) -> Any:
    return date.fromisoformat(value) if isinstance(value, str) else value


def _instant(value: Any) -> datetime | None:
    """In UTC; SQLite stores it without its zone."""
    if value is None:
        return None
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _reading(value: Any) -> tuple[Decimal, str]:
    """A reading, and in words."""
    reading = Decimal(str(value))
    return reading, reading_words(reading)
