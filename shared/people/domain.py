"""How long a name must wait after refused sign-ins, and telephone numbers as they are stored."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import phonenumbers

# Five tries are free; then one further try after each wait. OWASP ASVS 5.0 asks for limits against guessing (chapter
# V6) without locking an account for good; the numbers are ours.
FREE_TRIES = 5
WAIT = timedelta(minutes=10)


def wait_until(failures: Sequence[datetime]) -> datetime | None:
    """The instant from which the next try counts, given the failures of the last `WAIT`; None: at once."""
    return max(failures) + WAIT if len(failures) >= FREE_TRIES else None


def e164_of(text: str, country: str) -> str:
    """A telephone number as people write it in `country`, in E.164; empty stays empty. Raises ValueError."""
    if not text.strip():
        return ""
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException as error:
        raise ValueError(f"{text!r} is not a telephone number") from error
    if not phonenumbers.is_possible_number(number):
        raise ValueError(f"{text!r} is not a telephone number")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
