"""The homeowner's link to a condition notice: signed, with an end, no account needed."""

from datetime import timedelta

from django.urls import reverse

from shared.signed_links import link_to, pk_of, token_of

SALT = "wallday.walkthroughs.notice"
GOOD_FOR = timedelta(days=30)  # our choice, no source


def notice_token(notice_id: int) -> str:
    return token_of(notice_id, salt=SALT)


def notice_of(token: str) -> int:
    """The notice that a token is for. Raises LinkRefused for one that was altered or is too old."""
    return pk_of(token, salt=SALT, good_for=GOOD_FOR)


def notice_link(notice_id: int) -> str:
    return link_to(reverse("walkthroughs:notice_open", args=[notice_token(notice_id)]))
