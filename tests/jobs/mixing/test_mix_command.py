"""`manage.py mix`: a mix on the terminal, or the reason why not."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command


def out_of(*arguments: str) -> str:
    out = StringIO()
    call_command("mix", *arguments, stdout=out)
    return out.getvalue()


def test_fifty_gallons() -> None:
    text = out_of("12.5", "1", "50", "--basis", "trade")
    assert "stock         4.0 gal" in text
    assert "water         46.0 gal  (1 part stock to 11.5 parts water)" in text
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
    ],
)
def test_refused(arguments: list[str], words: str) -> None:
    with pytest.raises(CommandError, match=words):
        out_of(*arguments)
