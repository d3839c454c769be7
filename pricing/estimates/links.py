"""The homeowner's link to a sent estimate: signed, no account needed.

The estimate's own last day decides until when it can be answered; the link itself ends later, so that what was agreed
can still be read and printed by the one who agreed.
"""

from datetime import timedelta

from django.urls import reverse

from shared.signed_links import link_to, pk_of, token_of

SALT = "wallday.estimates.sent"
GOOD_FOR = timedelta(days=400)  # a season and the next one; our choice, no source


def estimate_token(sent_id: int) -> str:
    return token_of(sent_id, salt=SALT)


def sent_of(token: str) -> int:
    """The sent estimate that a token is for. Raises LinkRefused for one that was altered or is too old."""
    return pk_of(token, salt=SALT, good_for=GOOD_FOR)


def estimate_link(sent_id: int) -> str:
    return link_to(reverse("estimates:opened", args=[estimate_token(sent_id)]))
