"""Who may be reminded, and by which channel. Checked on 2026-11-25; not legal advice.

Email: 15 USC 7704 asks for no consent beforehand, and forbids any further message after an opt-out.
Text: 47 CFR 64.1200(f)(9) asks for the person's recorded agreement first; an opt-out ends it.
Messages about booked work, transactional or relationship messages of 15 USC 7702(17), need no agreement by mail.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from jobs.customers.domain.consent import (
    ABOUT_BOOKED_WORK,
    ABOUT_REMINDERS,
    ALL,
    EMAIL,
    TEXT,
    ConsentRow,
    Standing,
    standing,
)

__all__ = ["ALL", "EMAIL", "TEXT", "ConsentRow", "Standing", "standing"]
CHANNELS = (EMAIL, TEXT)  # the first that may be used is used


@dataclass(frozen=True)
class Obstacle:
    """Why a channel cannot be used.

    `no_address`, `no_consent`, or with `at`: `opted_out`; `closed`, where a message came back or was reported as
    unwanted; `unread`, where the person wrote something that may be an opt-out and nobody has read it yet.
    """

    channel: str
    code: str
    at: datetime | None = None


@dataclass(frozen=True)
class ChannelChoice:
    """The channel to use, or an empty text and what stands in the way of each."""

    channel: str
    obstacles: tuple[Obstacle, ...] = ()


def obstacle(
    rows: Iterable[ConsentRow],
    channel: str,
    address: str,
    held: Mapping[str, Obstacle] | None = None,
    purposes: tuple[str, ...] = ABOUT_REMINDERS,
) -> Obstacle | None:
    """What stands in the way of writing to `address` by `channel`, if anything does; `held` by channel."""
    if not address:
        return Obstacle(channel, "no_address")
    stands = standing(rows, channel, purposes)
    if stands.opted_out_at:
        return Obstacle(channel, "opted_out", stands.opted_out_at)
    if channel == TEXT and stands.agreed_at is None:
        return Obstacle(channel, "no_consent")
    return (held or {}).get(channel)


def choose_channel(
    rows: Iterable[ConsentRow], addresses: dict[str, str], held: Mapping[str, Obstacle] | None = None
) -> ChannelChoice:
    """The first channel that may be used for a reminder. `addresses` maps channel to address, empty for none.

    An unread reply holds back every channel: what the person wrote may be meant for all of them.
    """
    known = list(rows)
    obstacles = []
    for channel in CHANNELS:
        hindrance = obstacle(known, channel, addresses.get(channel, ""), held)
        if hindrance is None:
            return ChannelChoice(channel)
        obstacles.append(hindrance)
    return ChannelChoice("", tuple(obstacles))


def choose_for_booked_work(
    rows: Iterable[ConsentRow], addresses: dict[str, str], held: Mapping[str, Obstacle] | None = None
) -> ChannelChoice:
    """The channel for a message about work that is booked: a text where the person agreed to texts, else mail.

    Such messages need no agreement by mail (15 USC 7702(17), transactional or relationship messages).
    """
    known = list(rows)
    obstacles = []
    for channel in (TEXT, EMAIL):
        hindrance = obstacle(known, channel, addresses.get(channel, ""), held, ABOUT_BOOKED_WORK)
        if hindrance is None:
            return ChannelChoice(channel)
        obstacles.append(hindrance)
    return ChannelChoice("", tuple(obstacles))


def wait_until(last_reminded_on: date | None, *, today: date, gap_days: int) -> date | None:
    """The day from which the customer may be reminded again, where that is still to come."""
    if last_reminded_on is None:
        return None
    day = last_reminded_on + timedelta(days=gap_days)
    return day if day > today else None
