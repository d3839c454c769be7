"""Links for people without an account: the id of one row, signed, with an end."""

from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.utils.translation import gettext as _

from shared.errors import WalldayError


class LinkRefused(WalldayError):
    """The link was altered, or its time is over."""

    code, status = "link_refused", 404


def token_of(pk: int, *, salt: str) -> str:
    """The token of a row; `salt` names the kind of row, so that no token opens another kind."""
    return signing.dumps(pk, salt=salt)


def pk_of(token: str, *, salt: str, good_for: timedelta) -> int:
    """The row that a token is for. Raises LinkRefused for one that was altered or is too old."""
    try:
        return int(signing.loads(token, salt=salt, max_age=good_for))
    except signing.SignatureExpired as error:
        raise LinkRefused(_("The time of this link is over. Ask us for a new one.")) from error
    except (signing.BadSignature, TypeError, ValueError) as error:
        raise LinkRefused(_("This link is not complete. Open it again from the message.")) from error


def link_to(path: str) -> str:
    """The whole address of one of our paths, as a message carries it."""
    return f"{settings.WALLDAY_SITE_URL.rstrip('/')}{path}"
