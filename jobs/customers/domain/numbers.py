"""Money, areas, counts and minutes as people write them, as whole numbers with a unit.

Separators: where a number holds both a point and a comma, the last one is the decimal mark. Where it holds one
kind more than once, it groups thousands. Where it holds one of them once, with one or two digits behind it, it is
the decimal mark; with three digits behind it, it groups thousands if it is the grouping mark of the company's
country, and is asked about otherwise: 1,234 is 1234 in the US, and 1.234 is a question there.
"""

import datetime as dt
import re
from fractions import Fraction

from shared.units import round_half_up, sqft_from_square_metres

from .cells import Cell, cell_fault, cell_text
from .faults import N_, Fault, shown

SIGNS = {"$": "USD", "us$": "USD", "usd": "USD", "€": "EUR", "eur": "EUR", "£": "GBP", "gbp": "GBP", "c$": "CAD",
         "ca$": "CAD", "cad": "CAD", "a$": "AUD", "aud": "AUD"}  # fmt: skip
DOLLARS = frozenset(("USD", "CAD", "AUD", "NZD", "MXN"))
COMMA_DECIMALS = frozenset(("EUR",))  # currencies whose amounts are mostly written 1.234,50
MAX_CENTS = 1_000_000_00
MAX_COUNT = 1_000_000
MAX_MINUTES = 14 * 24 * 60
MONEY = re.compile(
    r"(?P<sign>-?)\s*(?P<before>[^\d\s.,()-]*)\s*(?P<inner>-?)"
    r"(?P<number>\d[\d.,' ]*|[.,]\d+)\s*(?P<after>[^\d\s.,()-]*)(?P<behind>-?)"
)
AREA = re.compile(
    r"(?P<number>[\d.,' ]*\d)\s*(?P<unit>sq\.? ?ft\.?|sqft|sf|ft2|ft²|square feet|sq\.? feet|pies2|pies cuadrados"
    r"|m2|m²|sq\.? ?m|sqm|square met(?:er|re)s|metros cuadrados)?"
)
METRIC = ("m2", "m²", "sqm", "sq m", "sq. m", "sq.m", "square met", "metros")
DURATION = re.compile(
    r"(?:(?P<hours>\d+(?:[.,]\d+)?)\s*(?:h|hr|hrs|hour|hours|hora|horas)\.?)?\s*"
    r"(?:(?P<minutes>\d+)\s*(?:m|min|mins|minutes|minutos)?\.?)?"
)
CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::00)?")


def read_money(cell: Cell, column: str, *, currency: str = "USD") -> int | None | Fault:
    """An amount in cents of the company's `currency`, None for an empty cell; parentheses or a minus are below zero.

    An amount with the sign of another currency is refused: nothing is exchanged.
    """
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return _bounded(cell * 100, MAX_CENTS, cell, column)
    text = cell_text(cell).replace("\xa0", " ").replace("\u202f", " ").replace("−", "-").strip()
    if not text:
        return None
    inside = re.fullmatch(r"\((.+)\)", text)
    parts = MONEY.fullmatch((inside[1] if inside else text).strip().lower())
    if parts is None:
        return _not_money(text, column)
    wrong = _currency_fault(parts, text, column, currency)
    if wrong is not None:
        return wrong
    amount = _number(parts["number"].strip(), column, text, decimal_comma=currency in COMMA_DECIMALS)
    if isinstance(amount, Fault):
        return amount
    minuses = (parts["sign"] + parts["inner"] + parts["behind"]).count("-") + bool(inside)
    return (
        _bounded((-1) ** minuses * amount * 100, MAX_CENTS, text, column) if minuses < 2 else _not_money(text, column)
    )


def read_price(cell: Cell, column: str, *, currency: str = "USD") -> int | None | Fault:
    """An amount that cannot be below zero, in cents."""
    cents = read_money(cell, column, currency=currency)
    if isinstance(cents, int) and cents < 0:
        return Fault(
            column,
            shown(cell_text(cell)),
            N_("The amount is below zero."),
            N_("Write the amount without a minus sign; a refund is booked on the job, not imported."),
        )
    return cents


def read_area(cell: Cell, column: str, *, unit: str = "", decimal_comma: bool = False) -> int | None | Fault:
    """An area in square feet, 1 or more; `unit` "m2" where the heading says so. None for an empty cell."""
    found = _count(cell, column, AREA, decimal_comma)
    if found is None or isinstance(found, Fault):
        return found
    amount, written = found
    metric = written.startswith(METRIC) if written else unit == "m2"
    sqft = sqft_from_square_metres(float(amount)) if metric else round_half_up(amount)
    return sqft if 1 <= sqft <= MAX_COUNT else _out_of_range(column, cell_text(cell), 1, MAX_COUNT)


def read_count(
    cell: Cell, column: str, *, least: int = 0, most: int = MAX_COUNT, decimal_comma: bool = False
) -> int | None | Fault:
    """A whole number from `least` to `most`; None for an empty cell."""
    found = _count(cell, column, re.compile(r"(?P<number>[\d.,' ]*\d)(?P<unit>)"), decimal_comma)
    if found is None or isinstance(found, Fault):
        return found
    amount = found[0]
    if amount.denominator != 1:
        return Fault(column, shown(cell_text(cell)), N_("This is not a whole number."), N_("Write a whole number."))
    return int(amount) if least <= amount <= most else _out_of_range(column, cell_text(cell), least, most)


def read_minutes(cell: Cell, column: str, *, unit: str = "") -> int | None | Fault:
    """Minutes, from "90", "90 min", "1.5 h", "1 h 30" or "1:30" (hours:minutes); None for an empty cell.

    A bare number is minutes, or hours where the heading says so (`unit` "h").
    """
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    if isinstance(cell, dt.timedelta):
        return _bounded(Fraction(round(cell.total_seconds()), 60), MAX_MINUTES, cell, column, least=0)
    if isinstance(cell, dt.time):
        return cell.hour * 60 + cell.minute
    text = cell_text(cell).strip().lower()
    if not text:
        return None
    if clock := CLOCK.fullmatch(text):
        return _bounded(int(clock[1]) * 60 + int(clock[2]), MAX_MINUTES, text, column, least=0)
    if re.fullmatch(r"\d+(?:[.,]\d+)?", text):
        return _bounded(_decimal(text) * (60 if unit == "h" else 1), MAX_MINUTES, text, column, least=0)
    parts = DURATION.fullmatch(text)
    if parts is None:
        return Fault(
            column,
            shown(text),
            N_("This is not a length of time."),
            N_("Write minutes, or hours as in 1.5 h or 1 h 30."),
        )
    minutes = _decimal(parts["hours"] or "0") * 60 + int(parts["minutes"] or 0)
    return _bounded(minutes, MAX_MINUTES, text, column, least=0)


def _decimal(text: str) -> Fraction:
    return Fraction(text.replace(",", "."))


def _count(
    cell: Cell, column: str, pattern: re.Pattern[str], decimal_comma: bool
) -> tuple[Fraction, str] | None | Fault:
    """The number and the unit written behind it."""
    fault = cell_fault(cell, column)
    if fault is not None:
        return fault
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        finite = isinstance(cell, int) or abs(cell) < float(MAX_COUNT * MAX_COUNT)
        return (Fraction(cell).limit_denominator(10**6), "") if finite else _not_a_number(cell, column)
    text = cell_text(cell).replace("\xa0", " ").strip().lower()
    if not text:
        return None
    parts = pattern.fullmatch(text)
    if parts is None:
        return _not_a_number(text, column)
    amount = _number(parts["number"].strip(), column, text, decimal_comma=decimal_comma)
    return amount if isinstance(amount, Fault) else (amount, " ".join((parts["unit"] or "").split()))


def _number(digits: str, column: str, written: str, *, decimal_comma: bool) -> Fraction | Fault:
    """A number with separators, by the rule at the head of this module."""
    decimal, grouping = _marks(digits, decimal_comma)
    if decimal == "?":
        return Fault(
            column,
            shown(written),
            N_("Does the separator group thousands, or is it the decimal mark?"),
            N_("Write the number without grouping thousands, such as 1234 or 1.23."),
        )
    whole, _, part = digits.partition(decimal) if decimal else (digits, "", "")
    groups = re.split(f"[{re.escape(grouping)}' ]", whole) if whole else ["0"]
    well_grouped = len(groups) == 1 or (0 < len(groups[0]) <= 3 and all(len(g) == 3 for g in groups[1:]))
    if not well_grouped or not "".join(groups).isdecimal() or (part and not part.isdecimal()):
        return _not_a_number(written, column)
    return Fraction(int("".join(groups))) + (Fraction(int(part), 10 ** len(part)) if part else 0)


def _marks(digits: str, decimal_comma: bool) -> tuple[str, str]:
    """The decimal mark ("" for none, "?" for a question) and the grouping mark."""
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return (".", ",") if digits.rindex(".") > digits.rindex(",") else (",", ".")
    mark = "." if points else ","
    if points + commas != 1:
        return "", mark
    before, _, behind = digits.partition(mark)
    if len(behind) != 3 or not 1 <= len(before) <= 3 or before == "0":
        return mark, "." if mark == "," else ","
    usual_grouping = "." if decimal_comma else ","
    return ("", mark) if mark == usual_grouping else ("?", mark)


def _currency_fault(parts: re.Match[str], text: str, column: str, currency: str) -> Fault | None:
    signs = [sign for sign in (parts["before"].strip(), parts["after"].strip()) if sign]
    known = [SIGNS.get(sign) for sign in signs]
    if None in known:
        return _not_money(text, column)
    plain_dollar = "$" in signs and currency in DOLLARS
    if all(code == currency or (code == "USD" and plain_dollar) for code in known):
        return None
    return Fault(
        column,
        shown(text),
        N_("The amount is in another currency; the company works in %(currency)s."),
        N_("Write the amount in %(currency)s."),
        {"currency": currency},
    )


def _bounded(
    amount: Fraction | float, most: int, value: object, column: str, *, least: int | None = None
) -> int | Fault:
    low = -most if least is None else least
    if not low <= amount <= most:  # also false for nan
        return _out_of_range(column, value, low, most)
    # Spreadsheets hold binary fractions: 1.005 is stored as 1.00499999999999989; read it as it is shown.
    return round_half_up(Fraction(amount).limit_denominator(10**6))


def _not_money(text: str, column: str) -> Fault:
    return Fault(
        column, shown(text), N_("This is not one amount of money."), N_("Write one amount such as 1,234.50 or 300.")
    )


def _not_a_number(value: object, column: str) -> Fault:
    return Fault(column, shown(value), N_("This is not one number."), N_("Write one number such as 1800."))


def _out_of_range(column: str, value: object, least: int, most: int) -> Fault:
    return Fault(
        column,
        shown(value),
        N_("The number is too small or too large to be right."),
        N_("Correct it; what is stored for it must lie between %(least)d and %(most)d."),
        {"least": least, "most": most},
    )
