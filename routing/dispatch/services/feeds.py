import secrets
from typing import Any

from django.db import transaction

from routing.dispatch.models import CalendarFeed
from routing.plans.models import Crew
from shared.events.services import event_record

TOKEN_BYTES = 32  # 256 bits: not to be guessed


@transaction.atomic
def feed_ensure(*, crew: Crew, actor: Any = None) -> CalendarFeed:
    """The crew's feed; made on first use."""
    feed, made = CalendarFeed.objects.get_or_create(crew=crew, defaults={"token": secrets.token_urlsafe(TOKEN_BYTES)})
    if made:
        event_record(kind="feed.made", subject=crew, actor=actor)
    return feed


@transaction.atomic
def feed_renew(*, crew: Crew, actor: Any = None) -> CalendarFeed:
    """Give the crew's feed a new secret address; the old one answers no more."""
    feed, _made = CalendarFeed.objects.update_or_create(
        crew=crew, defaults={"token": secrets.token_urlsafe(TOKEN_BYTES)}
    )
    event_record(kind="feed.renewed", subject=crew, actor=actor)
    return feed
