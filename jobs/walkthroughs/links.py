"""The homeowner's link to a condition notice: signed, with an end, no account needed."""

from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.walkthroughs.errors import LinkRefused

SALT = "wallday.walkthroughs.notice"
GOOD_FOR = timedelta(days=30)  # our choice, no source


def notice_token(notice_id: int) -> str:
    return signing.dumps(notice_id, salt=SALT)


def notice_of(token: str) -> int:
    """The notice that a token is for. Raises LinkRefused for one that was altered or is too old."""
    try:
        return int(signing.loads(token, salt=SALT, max_age=GOOD_FOR))
    except signing.SignatureExpired as error:
        raise LinkRefused(_("The time of this link is over. Ask us for a new one.")) from error
    except (signing.BadSignature, TypeError, ValueError) as error:
        raise LinkRefused(_("This link is not complete. Open it again from the message.")) from error


def notice_link(notice_id: int) -> str:
    path = reverse("walkthroughs:notice_open", args=[notice_token(notice_id)])
    return f"{settings.WALLDAY_SITE_URL.rstrip('/')}{path}"
