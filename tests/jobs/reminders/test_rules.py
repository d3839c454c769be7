"""The page of rules says what the modules keep."""

from importlib import import_module
from typing import Any

import pytest

from jobs.reminders.rules import RULES, Rule


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: str(rule.about))
def test_a_rule_is_kept_where_the_page_says(rule: Rule) -> None:
    """The module exists; a published rule is cited in its first lines, with the words about advice."""
    words = import_module(rule.kept_in).__doc__ or ""
    if rule.is_published:
        assert str(rule.source) in words
        assert "not legal advice" in words


@pytest.mark.django_db
def test_the_page_shows_each_rule_with_source_and_date(office: Any, crew_lead: Any, client_of: Any) -> None:
    """And says that it is no legal advice; programs read the same."""
    page = client_of(office).get("/due/rules/").content.decode()
    assert "This is not legal advice" in page
    assert page.count("25 Nov 2026") == sum(rule.is_published for rule in RULES) > 5
    found = client_of(office).get("/api/reminders/rules/").json()
    assert [(each["source"], each["checked_on"]) for each in found if each["checked_on"]] == [
        (rule.source, "2026-11-25") for rule in RULES if rule.is_published
    ]
    assert client_of(crew_lead).get("/due/rules/").status_code == 403
