"""Names, numbers to call, places and yes or no, as people write them. Each reader answers a value or a Fault."""

import math
import re
from collections.abc import Mapping

import phonenumbers
from phonenumbers import PhoneNumberFormat, ValidationResult

from .cells import Cell, cell_fault, cell_text
from .columns import plain
from .faults import N_, Fault, shown

YES = frozenset(("yes", "y", "true", "t", "1", "x", "si", "s", "ok", "on", "verdadero"))
NO = frozenset(("no", "n", "false", "f", "0", "off", "none", "falso", "stop"))
EMAIL = re.compile(r"[^@\s,;<>\"()\[\]]+@(?:[a-z0-9](?:[a-z0-9-]*[a-z0-9])?\.)+[a-z][a-z0-9-]*[a-z0-9]", re.IGNORECASE)
MAX_EMAIL_CHARS = 254  # RFC 5321, 4.5.3.1.3, less the angle brackets
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
# ZIP codes that begin with 0, which spreadsheets drop when they take the code for a number (from memory).
ZERO_STATES = frozenset((
    "ct", "ma", "me", "nh", "nj", "ri", "vt", "connecticut", "massachusetts", "maine", "new hampshire", "new jersey",
    "rhode island", "vermont",
))  # fmt: skip


def read_text(cell: Cell, column: str, *, limit: int, lines: bool = False) -> str | Fault:
    """The text of a cell, "" for an empty one; white space collapsed, line breaks kept where `lines`."""
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    text = cell_text(cell)
    if lines:
        text = "\n".join(" ".join(line.split()) for line in re.split(r"\r\n|\r|\n", text)).strip("\n")
    else:
        text = " ".join(text.split())
    if CONTROL.search(text):
        return Fault(
            column, shown(text), N_("The cell holds a control character."), N_("Type the value again by hand.")
        )
    if len(text) <= limit:
        return text
    return Fault(
        column,
        shown(text),
        N_("The text has %(length)d characters, more than the %(limit)d that fit."),
        N_("Shorten it, or move a part to a note."),
        {"length": len(text), "limit": limit},
    )


def same_value(stored: object, given: object) -> bool:
    """Whether a cell says what is stored; white space and the case of mail addresses do not count."""
    if not isinstance(stored, str) or not isinstance(given, str):
        return stored == given
    one, other = " ".join(stored.split()), " ".join(given.split())
    return one == other or ("@" in one and " " not in one and one.lower() == other.lower())


def read_yes_no(cell: Cell, column: str) -> bool | None | Fault:
    """Yes or no; None for an empty cell."""
    text = read_text(cell, column, limit=1000)
    if isinstance(text, Fault) or not text:
        return text or None
    word = plain(text)
    if word in YES or text in ("✓", "✔"):
        return True
    if word in NO:
        return False
    return Fault(column, shown(text), N_("This is neither yes nor no."), N_("Write yes or no, or leave it empty."))


def read_choice(cell: Cell, column: str, choices: Mapping[str, str]) -> str | Fault:
    """One of a set of words; `choices` goes from what people write (plain) to our word. "" for an empty cell."""
    text = read_text(cell, column, limit=1000)
    if isinstance(text, Fault) or not text:
        return text
    found = choices.get(plain(text))
    if found is not None:
        return found
    return Fault(
        column,
        shown(text),
        N_("This is not one of the known words."),
        N_("Write one of: %(words)s."),
        {"words": ", ".join(sorted(set(choices.values())))},
    )


def read_email(cell: Cell, column: str) -> str | Fault:
    """An email address in lower case, "" for an empty cell."""
    text = read_text(cell, column, limit=1000)
    if isinstance(text, Fault) or not text:
        return text
    address = text.removeprefix("mailto:")
    if EMAIL.fullmatch(address) and len(address) <= MAX_EMAIL_CHARS:
        return address.lower()
    return Fault(
        column,
        shown(text),
        N_("This is not one email address."),
        N_("Write one address such as name@example.com, or leave it empty."),
    )


def read_phone(cell: Cell, column: str, *, region: str) -> str | Fault:
    """A telephone number as E.164, "" for an empty cell. `region` (ISO 3166-1) reads numbers without a + prefix.

    A number is taken when it is *possible* (right length for its country), not only when it is *valid* (a range in
    use): which ranges are in use changes faster than any library, and numbers kept free for examples, such as
    555-0100 to 555-0199, would be refused.
    """
    text = read_text(cell, column, limit=1000)
    if isinstance(text, Fault) or not text:
        return text
    try:
        number = phonenumbers.parse(text, region)
    except phonenumbers.NumberParseException:
        return _not_a_phone(text, column)
    if number.extension:
        return Fault(
            column,
            shown(text),
            N_("The number has an extension, which a message cannot reach."),
            N_("Leave the extension off, or write it into the note."),
        )
    reason = phonenumbers.is_possible_number_with_reason(number)
    if reason == ValidationResult.IS_POSSIBLE_LOCAL_ONLY:
        return Fault(column, shown(text), N_("The area code is missing."), N_("Write the number with its area code."))
    if reason != ValidationResult.IS_POSSIBLE:
        return _not_a_phone(text, column)
    return phonenumbers.format_number(number, PhoneNumberFormat.E164)


def _not_a_phone(text: str, column: str) -> Fault:
    return Fault(
        column,
        shown(text),
        N_("This is not one telephone number."),
        N_("Write one number with its area code, or with + and the country code; put others into the note."),
    )


def phone_as_written(e164: str, *, region: str) -> str:
    """A stored number as people of `region` write it; `read_phone` turns it back into the same number."""
    try:
        number = phonenumbers.parse(e164, region)
    except phonenumbers.NumberParseException:
        return e164
    written = phonenumbers.format_number(number, PhoneNumberFormat.NATIONAL)
    return written if read_phone(written, "", region=region) == e164 else e164


def read_postal_code(cell: Cell, column: str, *, country: str, region: str = "") -> str | Fault:
    """A postal code; in the US five digits or nine.

    Four digits are a code that lost its leading zero where `region` is a state whose codes begin with one; anywhere
    else they are asked about.
    """
    text = read_text(cell, column, limit=20)
    if isinstance(text, Fault) or not text or country != "US":
        return text
    if re.fullmatch(r"\d{5}|\d{5}-\d{4}", text):
        return text
    if re.fullmatch(r"\d{9}", text):
        return f"{text[:5]}-{text[5:]}"
    if re.fullmatch(r"\d{4}", text) and plain(region) in ZERO_STATES:
        return f"0{text}"
    return Fault(
        column,
        shown(text),
        N_("A ZIP code has five digits, or five and four."),
        N_("Is a leading zero missing? Write the whole code, or leave it empty."),
    )


def read_coordinate(cell: Cell, column: str, *, limit: int) -> float | None | Fault:
    """Decimal degrees between -`limit` and `limit`; None for an empty cell."""
    text = read_text(cell, column, limit=100)
    if isinstance(text, Fault) or not text:
        return text or None
    try:
        degrees = float(text.replace(",", ".") if "." not in text else text)
    except ValueError:
        degrees = math.nan
    if -limit <= degrees <= limit:
        return degrees
    return Fault(
        column,
        shown(text),
        N_("This is not a number of degrees from -%(limit)d to %(limit)d."),
        N_("Write decimal degrees such as 40.0125, or leave both latitude and longitude empty."),
        {"limit": limit},
    )
