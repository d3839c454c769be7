"""If-Match as RFC 9110 has it: strong comparison, 412 for another state, 428 without it."""

from dataclasses import dataclass

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st

from shared.api_kit.etags import etag_of, expected_version, with_etag
from shared.errors import PreconditionMissing, Stale


@dataclass(frozen=True)
class Thing:
    pk: int
    version: int


THING = Thing(3, 7)


def version_for(header: str | None) -> int:
    headers = {} if header is None else {"If-Match": header}
    return expected_version(RequestFactory().put("/x/", headers=headers), THING)


@pytest.mark.parametrize("header", ['"3-7"', '"1-1", "3-7"', "*", ' "3-7" '])
def test_the_state_that_was_seen(header: str) -> None:
    """The right tag, alone or in a list, and the star."""
    assert version_for(header) == 7


@pytest.mark.parametrize("header", ['"3-6"', '"3-8"', '"13-7"', 'W/"3-7"', "3-7", "nonsense", '"", "3-"'])
def test_another_state(header: str) -> None:
    """Another version, another row, a weak tag (strong comparison, section 8.8.3.2) and no tag at all never match."""
    with pytest.raises(Stale):
        version_for(header)


@pytest.mark.parametrize("header", [None, "", "  "])
def test_no_state_named(header: str | None) -> None:
    """A change that names no version is asked to (RFC 6585, section 3)."""
    with pytest.raises(PreconditionMissing):
        version_for(header)


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126)))
def test_any_header_is_understood_or_refused(header: str) -> None:
    """Whatever comes gives the version or one of the two errors."""
    try:
        assert version_for(header) == 7
    except (Stale, PreconditionMissing):
        assert header != etag_of(THING)


def test_an_answer_names_its_state() -> None:
    """Quotes belong to the tag."""
    assert with_etag(HttpResponse(), THING)["ETag"] == '"3-7"'
