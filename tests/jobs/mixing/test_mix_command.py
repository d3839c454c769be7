"""`manage.py mix`: a mix on the terminal, or the reason why not."""

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from jobs.mixing.services import limits_start


def out_of(*arguments: str) -> str:
    out = StringIO()
    call_command("mix", *arguments, stdout=out)
    return out.getvalue()


def test_fifty_gallons() -> None:
    text = out_of("12.5", "1", "50", "--basis", "trade")
    assert "stock         4 gal\n" in text
    assert "water         46 gal\n" in text
    assert "1 part stock to 11.5 parts water; 50.0 gal in all" in text
    assert "The product label" in text


def test_what_an_injector_cannot() -> None:
    text = out_of("12.5", "1.3", "50", "--basis", "trade", "--draw", "0.5", "5.5")
    assert "at surface    1.14 % trade" in text
    assert "NOT REACHED" in text


def test_older_stock() -> None:
    assert "stock today   11.11 % trade" in out_of(
        "12.5", "1", "50", "--basis", "trade", "--days", "30", "--stored-at", "70"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["12.5", "1", "50"], "without its basis"),
        (["1", "2", "50", "--basis", "trade"], "not weaker"),
        (["12.5", "1", "50", "--basis", "hypochlorite_weight"], "specific gravity"),
        (["12.5", "1", "50", "--basis", "trade", "--days", "400"], "Too old"),
        (["12.5", "1", "50", "--basis", "trade", "--draw", "5", "1"], "injector"),
        (["0", "1", "50", "--basis", "trade"], "more than 0"),
        (["200", "1", "50", "--basis", "trade"], "is not from 0 to 100"),
        (["NaN", "1", "50", "--basis", "trade"], "is not from 0 to 100"),
        (["12.5", "1", "inf", "--basis", "trade"], "is not from 0.001 to 10000"),
        (["12.5", "1", "0", "--basis", "trade"], "is not from 0.001"),
        (["12.5", "1", "x", "--basis", "trade"], "is no number"),
        (["12.5", "1", "50", "--basis", "trade", "--draw", "nan", "5"], "is not from"),
        (["12.5", "1", "50", "--basis", "trade", "--gravity", "0"], "is not from 0.7 to 2"),
        (["12.5", "1", "50", "--basis", "trade", "--days", "-1"], "Too old, too cold"),
    ],
)
def test_refused(arguments: list[str], words: str) -> None:
    with pytest.raises(CommandError, match=words):
        out_of(*arguments)


@pytest.mark.django_db
def test_a_limit_and_another_basis() -> None:
    """1 % of hypochlorite by weight from 12.5 trade percent, within the owner's limit for vinyl; also as JSON."""
    limits_start(today=date(2026, 6, 1))
    figures = ("12.5", "1", "50", "--basis", "trade", "--target-basis", "hypochlorite_weight", "--gravity", "1.16")
    assert "Limit for vinyl 1.3 % hypochlorite by weight, this mix 1 %" in out_of(*figures, "--surface", "vinyl")
    found = json.loads(out_of(*figures, "--surface", "vinyl", "--json"))
    assert (found["is_above_limit"], found["stock_today_basis_points"]) == (False, 1250)
