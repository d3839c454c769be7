"""The next rate card: draft, preview, files, first day; as page, API and command."""

import io
import json
from datetime import date, timedelta

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from pricing.catalogue.domain.card_files import UnreadableCard, card_csv, card_json, rows_of_file
from pricing.catalogue.domain.card_rows import differences, key_of, read_rows
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, draft_card, rate_card_on
from pricing.catalogue.services import draft_begin, draft_put_in_force, draft_set
from pricing.estimates.selectors import estimate_get
from shared.errors import Conflict, Refused, Stale
from tests import factories

TODAY = factories.MOMENT.date()
DRAFT = "/api/rate-card/draft/"
RATE = {
    "part": "rate", "service": "wash", "price_cents_per_100_units": 1, "minimum_price_cents": 2,
    "materials_cents_per_100_units": 3, "setup_minutes": 4, "units_per_crew_hour": 5, "units_per_crew_hour_high": 6,
}  # fmt: skip
NAME = st.text("aé,;\" '=", min_size=1, max_size=8).map(lambda text: " ".join(text.split())).filter(bool)
MATERIAL = st.builds(
    lambda n, c: {"part": "material", "name": n, "cost_cents_per_gallon": c}, NAME, st.integers(0, 999)
)
FACTOR = st.builds(
    lambda level, p: {"part": "factor", "service": "wash", "kind": "chalk", "level": level, "percent": p},
    st.sampled_from("012345"),
    st.integers(10, 1000),
)
SURCHARGE = st.builds(
    lambda n, s, f: {
        "part": "surcharge", "name": n, "service": s, "kind": "fixed", "figure": f, "when": "driving", "level": "30",
    },
    NAME, st.sampled_from(["", "wash"]), st.integers(0, 9999),
)  # fmt: skip


@given(st.lists(MATERIAL | FACTOR | SURCHARGE, max_size=8))
def test_a_card_comes_back_from_its_files_as_it_was(rows) -> None:
    """CSV and JSON, whatever names hold: no fault and no difference."""
    content = {key_of(row): row for row in [RATE, *rows]}
    for text in (card_csv(content), json.dumps(card_json(content))):
        read, faults = read_rows(rows_of_file(text.encode()), {"wash"})
        assert (faults, differences(content, read)) == ([], [])


@given(st.binary(max_size=80) | st.text(max_size=80).map(str.encode))
def test_no_file_breaks_the_reader(data) -> None:
    """Any bytes are refused as a whole or read into rows with their faults."""
    try:
        rows = rows_of_file(data)
    except UnreadableCard:
        return
    _content, faults = read_rows(rows, {"wash"})
    assert faults


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ({"part": "price"}, "part", "one of rate"),
        ({**RATE, "units_per_crew_hour": "0"}, "units_per_crew_hour", "from 1"),
        ({**RATE, "setup_minutes": "4.5"}, "setup_minutes", "whole number"),
        ({**RATE, "service": "roof"}, "service", "No service"),
        ({**RATE, "percent": "9"}, "percent", "no such column"),
        ({"part": "factor", "service": "wash", "kind": "storeys", "level": "9", "percent": 120}, "level", "1, 2, 3, 4"),
        ({"part": "factor", "service": "wash", "kind": "storeys", "level": "2", "percent": 5}, "percent", "from 10"),
        ({"part": "use", "service": "wash", "name": "soap", "volume_ml_per_100_units": 1}, "name", "not on the card"),
        ({"part": "surcharge", "name": "x", "kind": "fixed", "figure": 1, "when": "always", "level": "2"}, "level", ""),
        ({"part": "surcharge", "name": "x", "kind": "percent", "figure": 1001, "when": "always"}, "figure", "at most"),
        (RATE, "", "same thing as row 1"),
    ],
)
def test_each_fault_names_its_row(row, column, words) -> None:
    """The second row is the wrong one; the first is not blamed."""
    _content, faults = read_rows([(1, RATE), (2, row)], {"wash"})
    assert [(fault.row, fault.column) for fault in faults] == [(2, column)]
    assert words in faults[0].problem


@pytest.fixture
def draft(db):
    """The draft of the common values, with the clock at the factories' day."""
    with time_machine.travel(factories.MOMENT, tick=False):
        factories.make_card()
        yield draft_begin(today=TODAY)


def dearer(card, cents=52_00):
    content = card_content(card=card)
    key = ("rate", "house_wash")
    return {**content, key: {**content[key], "price_cents_per_100_units": cents}}


def test_a_draft_changes_nothing_until_its_day(draft) -> None:
    """A copy of the card; from its first day on it counts, not a day before, and it cannot be changed any more."""
    first = rate_card_on(on=TODAY)
    assert card_content(card=draft) == card_content(card=first)
    assert draft_begin(today=TODAY) == draft
    found = draft_set(draft=draft, content=dearer(draft), expected_version=draft.version)
    assert [(each.column, each.before, each.after) for each in found] == [("price_cents_per_100_units", 26_00, 52_00)]
    assert draft_set(draft=draft, content=dearer(draft), expected_version=99) == []
    day = TODAY + timedelta(days=7)
    draft_put_in_force(draft=draft, effective_from=day, today=TODAY, expected_version=draft.version)
    assert [rate_card_on(on=day - timedelta(days=1)), rate_card_on(on=day)] == [first, draft]
    with pytest.raises(Stale):
        draft_set(draft=draft, content=dearer(draft, 1), expected_version=draft.version)


def test_a_first_day_that_cannot_be_is_refused(draft) -> None:
    """Yesterday, the day of another card, and what was changed meanwhile: it stays a draft."""
    put = {"draft": draft, "today": TODAY, "expected_version": draft.version}
    with pytest.raises(Refused):
        draft_put_in_force(effective_from=TODAY - timedelta(days=1), **put)
    RateCard.objects.create(effective_from=TODAY)
    with pytest.raises(Conflict):
        draft_put_in_force(effective_from=TODAY, **put)
    with pytest.raises(Stale):
        draft_put_in_force(effective_from=TODAY + timedelta(days=1), **{**put, "expected_version": 7})
    assert draft_card() == draft


def test_the_preview_says_what_would_change_and_changes_nothing(draft, client_of, owner, office) -> None:
    """2,000 sq ft at twice the price: the draft estimate would ask $520 more; its stored figures stay."""
    estimate = estimate_get(pk=factories.make_estimate().pk)
    lead = factories.make_job(state="lead", lines=[{"service": estimate.lines.first().service, "quantity": 1000}])
    before = list(estimate.lines.values())
    draft_set(draft=draft, content=dearer(draft), expected_version=draft.version)
    rows = client_of(owner).get(f"{DRAFT}preview/").json()
    by = {(row["job"], row["estimate"]): row for row in rows}
    asked = by[estimate.job_ref, estimate.pk]
    assert asked["after"]["price_cents"] - asked["before"]["price_cents"] == 520_00
    assert asked["after"]["minutes"] == asked["before"]["minutes"]
    assert asked["after"]["earned_cents_per_crew_hour"] > asked["before"]["earned_cents_per_crew_hour"]
    assert by[lead.pk, None]["after"]["price_cents"] == 520_00
    assert list(estimate.lines.values()) == before
    page = client_of(owner).get("/rates/draft/").content.decode()
    assert f"estimate {estimate.pk}" in page
    assert client_of(office).get(f"{DRAFT}preview/").status_code == 403


def test_the_api_imports_once_and_names_faults(draft, client_of, owner) -> None:
    """Dry run, import, import again: one difference, one, none. A fault names its row, and nothing is written."""
    client = client_of(owner)
    rows = json.loads(json.dumps([dict(row) for row in dearer(draft).values()]))

    def put(**body):
        etag = client.get(DRAFT)["ETag"]
        return client.put(DRAFT, {"rows": rows, **body}, content_type="application/json", headers={"If-Match": etag})

    assert [len(put(dry_run=dry).json()["differences"]) for dry in (True, False, False)] == [1, 1, 0]
    wrong = put(rows=[*rows, {"part": "factor"}])
    assert (wrong.status_code, wrong.json()["faults"][0]["row"]) == (422, len(rows) + 1)
    assert client.put(DRAFT, {"rows": rows}, content_type="application/json").status_code == 428
    body = {"effective_from": TODAY.isoformat()}
    answer = client.post(
        f"{DRAFT}in-force/", body, content_type="application/json", headers={"If-Match": client.get(DRAFT)["ETag"]}
    )
    assert (answer.status_code, client.get("/api/rate-card/").json()["id"]) == (200, draft.pk)
    assert client.get(DRAFT).status_code == 404


def test_the_page_takes_files_and_the_first_day(draft, client_of, owner) -> None:
    """The file as saved changes nothing, a wrong file comes back with its rows, then its first day."""
    client = client_of(owner)
    content = dearer(draft, 27_00)
    draft_set(draft=draft, content=content, expected_version=draft.version)
    saved = client.get("/rates/card/draft.csv").content

    def send(data, **over):
        version = draft_card().version
        return client.post(
            "/rates/draft/file/", {"file": SimpleUploadedFile("card.csv", data), "version": version, **over}
        )

    assert "It would change 0 figures" in send(saved, dry_run="on").content.decode()
    other = send(saved.replace(b"house_wash,2700", b"house_wash,2800"), dry_run="on").content.decode()
    assert "House wash, price per 100 sq ft of wall: $27.00 → $28.00" in other
    wrong = send(saved.replace(b"house_wash,2700", b"house_wash,much"))
    assert (wrong.status_code, "Row " in wrong.content.decode()) == (422, True)
    assert send(b"\xff\xfe").status_code == 422
    day = {"version": draft_card().version, "effective_from": TODAY.isoformat(), "note": "spring"}
    assert client.post("/rates/draft/in-force/", day).status_code == 302
    assert rate_card_on(on=TODAY).note == "spring"


def test_the_command_goes_there_and_back(draft, tmp_path, capsys) -> None:
    """Exported and imported: 0 changes; a changed price is one; a fault stops all; then in force."""
    file, out = tmp_path / "card.csv", io.StringIO()
    call_command("rate_card", "export", stdout=out)
    file.write_text(out.getvalue(), encoding="utf-8", newline="")
    call_command("rate_card", "import", str(file))
    assert "0 changes." in capsys.readouterr().out
    file.write_text(out.getvalue().replace("house_wash,2600", "house_wash,2700"), encoding="utf-8", newline="")
    call_command("rate_card", "import", str(file), "--dry-run")
    assert "House wash, price per 100 sq ft of wall: $26.00 → $27.00\n1 changes to come." in capsys.readouterr().out
    file.write_text(out.getvalue() + "factor,nothing\r\n", encoding="utf-8", newline="")
    with pytest.raises(CommandError, match="nothing was changed"):
        call_command("rate_card", "import", str(file))
    call_command("rate_card", "in-force", date(2030, 1, 1).isoformat())
    assert rate_card_on(on=date(2030, 1, 1)) == draft
