"""What migrations wrote is there for every test, whichever test emptied the tables before it."""

import pytest

from shared.background.models import Schedule


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", [1, 2])
def test_are_there_after_the_tables_were_emptied(turn: int) -> None:
    """Both turns end by emptying every table, so one of them comes after the other."""
    assert Schedule.objects.filter(task="chalking.nightly").exists()
