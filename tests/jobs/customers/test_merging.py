"""Two entries of one customer become one: nothing is lost, no history is altered, every no still counts."""

import json
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers.domain.duplicates import MOST_SHARING, Alike, Entry, alike
from jobs.customers.models import Customer
from jobs.customers.selectors import consent_list, customer_get, customer_list, lookalikes
from jobs.customers.services import customer_merge, customers_tell_apart, import_customers, merge_plan
from jobs.reminders.answers import Answer, answer_take, offer_get
from jobs.reminders.domain.consent import choose_channel
from jobs.reminders.inbound import inbound_text_take
from jobs.reminders.links import opt_out_token
from jobs.reminders.models import Reminder, ReminderAnswer
from jobs.reminders.rows import addresses_of, consents_by_address, consents_of
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from shared.errors import NotFound, Refused
from shared.events.models import Event
from shared.outbox.models import Message
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture
def two(db: None) -> tuple[Any, Any]:
    """The same person twice: a number of their own each, one house each."""
    make.set_company()
    keep = make.make_customer(name="Ann Example", email="ann@example.com", phone_e164="+15555550101")
    other = make.make_customer(name="A. Example", email="ann@work.example.com", phone_e164="+15555550102", note="Calls")
    make.make_property(customer=keep, street="1 Elm Street")
    make.make_property(customer=other, street="2 Oak Street")
    return keep, other


def merged(keep: Any, other: Any, **over: Any) -> Any:
    done = customer_merge(keep=keep, other=other, actor=over.get("actor"), now=NOW)
    keep.refresh_from_db(), other.refresh_from_db()
    return done


def may_be_written_to(customer: Any) -> str:
    said = consents_of(customer, consents_by_address({customer}))
    return choose_channel(said, addresses_of(customer)).channel


def queue_all() -> None:
    reminders_queue(keys=[item.key for item in due_list(today=TODAY)], actor=None, now=NOW, hold_back=False)


def test_houses_move_with_everything_at_them(two: Any, office: Any) -> None:
    """Jobs and reminders follow their house; the entry that goes says what it became; both have it in their history."""
    keep, other = two
    job = make.make_job(property=other.properties.get())
    done = merged(keep, other, actor=office)
    job.refresh_from_db()
    assert (job.property.customer, done.jobs, other.merged_into, other.merged_at) == (keep, 1, keep, NOW)
    assert [customer.pk for customer in customer_list()] == [keep.pk]
    kinds = Event.objects.filter(kind__startswith="customer.").order_by("pk").values_list("kind", "subject_id", "actor")
    assert list(kinds) == [
        ("customer.merged", other.pk, office.pk),
        ("customer.took_over", keep.pk, office.pk),
    ]
    assert "Example" not in json.dumps(list(Event.objects.values_list("data", flat=True)))


def test_what_has_no_place_goes_into_the_note(two: Any) -> None:
    """Blanks are filled; another name, number, mail address and reference are kept in words."""
    keep, other = two
    Customer.objects.filter(pk=keep.pk).update(phone_e164="")
    Customer.objects.filter(pk=other.pk).update(reference="C-7")
    keep.refresh_from_db(), other.refresh_from_db()
    merged(keep, other)
    assert keep.phone_e164 == "+15555550102"
    assert keep.note.splitlines() == [
        "Also known as A. Example.", "Also reached at ann@work.example.com.", "Also has the reference C-7.", "Calls",
    ]  # fmt: skip


@pytest.mark.parametrize("whose", [0, 1])
@pytest.mark.parametrize("purpose", ["all", "reminder"])
@pytest.mark.parametrize("later_yes", [False, True])
def test_an_opt_out_of_either_side_wins(two: Any, whose: int, purpose: str, later_yes: bool) -> None:
    """Whoever said it, and though the other entry agreed later."""
    make.make_consent(customer=two[whose], channel="email", purpose=purpose, given=False, at=NOW)
    if later_yes:
        make.make_consent(customer=two[1 - whose], channel="email", purpose="all", given=True, at=NOW)
    assert [(each.channel, each.purpose) for each in merged(*two).opt_outs if each.purpose == purpose]
    assert may_be_written_to(two[0]) == ""
    assert len({consent.customer_id for consent in consent_list(customer=two[0])}) >= 1


def test_nobody_is_opted_out_by_merging(two: Any) -> None:
    """Without a no there is none afterwards; an agreement goes with its number, an own number gets none."""
    keep, other = two
    make.make_consent(customer=other, channel="text", purpose="all", given=True, at=NOW)
    assert merged(keep, other).opt_outs == ()
    assert may_be_written_to(keep) == "email"
    assert not keep.consents.exists()


def test_an_agreement_goes_with_its_number(two: Any) -> None:
    keep, other = two
    Customer.objects.filter(pk=keep.pk).update(phone_e164="", email="")
    keep.refresh_from_db()
    make.make_consent(customer=other, channel="text", given=True, at=NOW, wording="Yes to texts")
    make.make_consent(customer=other, channel="email", purpose="reminder", given=False, at=NOW)
    merged(keep, other)
    assert may_be_written_to(keep) == "text"
    assert keep.consents.get(given=True).wording == "Agreed on 2026-06-01: Yes to texts"


def test_waiting_reminders_of_the_other_are_called_off(two: Any) -> None:
    """Nobody hears twice: what waits for the entry that stays goes, the other's does not, and is shown as dropped."""
    for customer in two:
        make.make_interval(property=customer.properties.get(), next_due_on=TODAY)
    queue_all()
    assert Message.objects.filter(state="waiting").count() == 2
    assert merged(*two).called_off == 1
    assert list(Message.objects.order_by("recipient").values_list("recipient", "state")) == [
        ("ann@example.com", "waiting"),
        ("ann@work.example.com", "dropped"),
    ]
    assert Reminder.objects.filter(property__customer=two[0]).count() == 2


def test_links_of_the_other_entry_go_on(two: Any, client: Client) -> None:
    """Its answer link shows what was written, its opt-out opts out the customer that it became."""
    keep, other = two
    make.make_interval(property=other.properties.get(), next_due_on=TODAY)
    queue_all()
    merged(keep, other)
    offer = offer_get(customer_id=other.pk, written_on=TODAY)
    assert (offer.customer, [place.street for place in offer.places]) == (keep, ["2 Oak Street"])
    assert client.get(reverse("reminders:opt_out", args=[opt_out_token(other.pk, "email")])).status_code == 200
    assert client.post(f"/opt-out/{opt_out_token(other.pk, 'email')}/", {}).status_code == 200
    assert may_be_written_to(keep) == ""


def test_what_was_answered_stays_answered(two: Any) -> None:
    """An answer given before the merge stays with the old row and still counts as the one answer to that message."""
    keep, other = two
    make.make_interval(property=other.properties.get(), next_due_on=TODAY)
    queue_all()
    offer = offer_get(customer_id=other.pk, written_on=TODAY)
    answer_take(offer=offer, answer=Answer(kind="not_now"), free_days=list, now=NOW)
    merged(keep, other)
    assert ReminderAnswer.objects.get().customer == other
    assert offer_get(customer_id=other.pk, written_on=TODAY).answer == ReminderAnswer.objects.get()


def test_a_stop_from_the_old_number_counts(two: Any) -> None:
    """The number was not taken over; it is still the same person's."""
    keep, other = two
    merged(keep, other)
    text = inbound_text_take(event="e1", sender=other.phone_e164, body="STOP ALL", at=NOW)
    assert text is not None
    assert text.customer == keep
    assert may_be_written_to(keep) == ""


def test_merging_again_leads_to_the_last_one(two: Any) -> None:
    """Whoever was merged into an entry that goes, goes with it."""
    keep, other = two
    third = make.make_customer()
    merged(keep, other)
    customer_merge(keep=third, other=keep, actor=None, now=NOW)
    other.refresh_from_db()
    assert other.merged_into == third
    assert third.properties.count() == 2


def test_what_cannot_be_merged_is_said(two: Any) -> None:
    """The same entry; one that was merged; a house that both have, with work begun there. Nothing is changed."""
    keep, other = two
    with pytest.raises(Refused, match="one and the same"):
        merged(keep, keep)
    begun_at_both(two)
    with pytest.raises(Refused, match="5 Ash Street"):
        merged(keep, other)
    assert other.properties.count() == 2
    third = make.make_customer()
    merged(third, make.make_customer())
    with pytest.raises(Refused, match="already"):
        merged(keep, Customer.objects.get(merged_into=third))


def begun_at_both(two: Any) -> None:
    """A house that both entries have, at which each has a job that was walked through and is not done."""
    for customer in two:
        place = make.make_property(customer=customer, street="5 Ash Street")
        make.make_walkthrough(job=make.make_job(property=place))


def test_a_house_without_history_need_not_move(two: Any) -> None:
    """Both have the house, nothing ever happened at the other's: it stays behind, its walls go to a house without."""
    keep, other = two
    mine = make.make_property(customer=keep, street="5 Ash Street")
    make.make_job(property=mine)
    wall = make.make_wall(property=make.make_property(customer=other, street="5 Ash Street"))
    done = merged(keep, other)
    wall.refresh_from_db()
    assert ([join.into.street for join in done.joined], wall.property) == (["5 Ash Street"], mine)
    assert keep.properties.filter(street="5 Ash Street").count() == 1
    assert done.as_json()["properties_joined"][0]["walls"] == [wall.pk]


def test_a_file_with_the_old_reference_is_refused_in_words(two: Any, tmp_path: Any) -> None:
    """Importing the old list again neither makes the entry anew nor undoes the merge."""
    keep, other = two
    Customer.objects.filter(pk=keep.pk).update(reference="C-1")
    Customer.objects.filter(pk=other.pk).update(reference="C-2")
    merged(keep, other)
    file = tmp_path / "old.csv"
    file.write_text("customer_ref,customer_name,email\nC-2,A. Example,ann@work.example.com\n")
    with file.open("rb") as opened:
        report = import_customers(opened, dry_run=False, actor=None)
    assert (report.refused, Customer.objects.count()) == (1, 2)


@pytest.mark.django_db
def test_lookalikes_are_found_and_told_apart(two: Any, office: Any) -> None:
    """The same number, the same mail whatever its case, the same house however it is written."""
    keep, other = two
    assert lookalikes() == []
    make.make_property(customer=other, street="1 elm st.")
    Customer.objects.filter(pk=other.pk).update(email="ANN@example.com")
    (look,) = lookalikes()
    assert (look.first, look.second, look.words) == (keep, other, "the same email, the same house")
    assert [each.facts for each in lookalikes(customer=keep)] == [look.facts]
    customers_tell_apart(one=other, two=keep, actor=office, now=NOW)
    customers_tell_apart(one=keep, two=other, actor=office, now=NOW)
    assert lookalikes() == []


def test_one_house_is_not_the_house_of_another_town() -> None:
    entries = [Entry(1, street="1 Elm St", postal_code="00001"), Entry(2, street="1 Elm Street", postal_code="00002")]
    assert alike(entries) == []


@given(
    st.lists(st.tuples(st.integers(1, 6), st.sampled_from(["", "+1", "+2"]), st.sampled_from(["", "a@x", "A@X"]))),
)
def test_pairs_are_those_that_share(rows: list[tuple[int, str, str]]) -> None:
    """Each pair once, in order, never oneself; and exactly those who share a number or a mail address."""
    entries = [Entry(number, phone=phone, email=email) for number, phone, email in rows]
    found = alike(entries)
    assert len({(pair.first, pair.second) for pair in found}) == len(found)
    assert MOST_SHARING >= 6
    shared = {
        (one.number, two.number)
        for one in entries
        for two in entries
        if one.number < two.number
        and (one.phone and one.phone == two.phone or one.email and one.email.lower() == two.email.lower())
    }
    assert {(pair.first, pair.second) for pair in found} == shared


def test_whoever_shares_with_everybody_says_nothing() -> None:
    """A placeholder number pairs nobody."""
    assert alike(Entry(number, phone="+1555") for number in range(MOST_SHARING + 1)) == []
    assert alike([Entry(2, phone="+1555"), Entry(1, phone="+1555")]) == [Alike(1, 2, ("phone",))]


# --- edges ---


@pytest.fixture
def at_the_desk(client: Client, office: Any) -> Client:
    client.force_login(office)
    return client


def test_the_page_shows_first_and_merges_on_confirmation(two: Any, at_the_desk: Client) -> None:
    """Looking changes nothing; the button does it; the old page leads to the new one."""
    keep, other = two
    path = f"/customers/{keep.pk}/merge/{other.pk}/"
    page = at_the_desk.get(path).content.decode()
    assert "2 Oak Street" in page
    assert "Make them one customer" in page
    other.refresh_from_db()
    assert other.merged_into is None
    assert at_the_desk.post(path).status_code == 302
    assert at_the_desk.get(f"/customers/{other.pk}/").headers["Location"] == f"/customers/{keep.pk}/"
    assert at_the_desk.post(path).status_code == 404


def test_the_page_says_why_not(two: Any, at_the_desk: Client) -> None:
    """422, the words, no button, nothing changed."""
    keep, other = two
    begun_at_both(two)
    answer = at_the_desk.post(f"/customers/{keep.pk}/merge/{other.pk}/")
    assert answer.status_code == 422
    assert "5 Ash Street" in answer.content.decode()
    assert "Make them one customer" not in answer.content.decode()


def test_lookalikes_have_a_page_and_a_search(two: Any, at_the_desk: Client) -> None:
    keep, other = two
    Customer.objects.filter(pk=other.pk).update(phone_e164=keep.phone_e164)
    assert "the same telephone number" in at_the_desk.get("/customers/alike/").content.decode()
    choose = at_the_desk.get(f"/customers/{keep.pk}/merge/?words=A.").content.decode()
    assert choose.count(f"/customers/{keep.pk}/merge/{other.pk}/") == 2
    assert at_the_desk.post(f"/customers/alike/{keep.pk}/{other.pk}/apart/").status_code == 302
    assert "the same telephone number" not in at_the_desk.get("/customers/alike/").content.decode()


def test_the_list_of_lookalikes_asks_a_fixed_number_of_queries(at_the_desk: Client, assert_query_count: Any) -> None:
    """However many pairs there are."""
    for number in range(12):
        make.make_customer(phone_e164=f"+1555555{number // 2:04d}")
    with assert_query_count("customers alike"):
        at_the_desk.get("/customers/alike/")


def test_programs_merge_as_well(two: Any, at_the_desk: Client) -> None:
    """A dry run by default; then it is done; then the entry is gone and says where to."""
    keep, other = two
    path, body = f"/api/customers/{keep.pk}/merge/", {"other": other.pk}
    assert at_the_desk.post(path, body, content_type="application/json").json()["properties"] == [
        other.properties.get().pk
    ]
    done = at_the_desk.post(path, {**body, "dry_run": False}, content_type="application/json")
    assert done.status_code == 200
    gone = at_the_desk.get(f"/api/customers/{other.pk}/")
    assert (gone.status_code, gone.json()["merged_into"]) == (404, keep.pk)
    again = at_the_desk.post(path, {**body, "dry_run": False}, content_type="application/json")
    assert again.status_code == 422
    assert at_the_desk.get("/api/customers/alike/").json() == []


def test_the_command_merges(two: Any, capsys: Any) -> None:
    """Dry run, refusal in words, JSON."""
    keep, other = two
    call_command("merge_customers", keep.pk, other.pk, dry_run=True)
    assert "would move 1 properties" in capsys.readouterr().out
    with pytest.raises(CommandError, match="one and the same"):
        call_command("merge_customers", keep.pk, keep.pk)
    call_command("merge_customers", keep.pk, other.pk, json=True)
    assert json.loads(capsys.readouterr().out)["properties"]
    with pytest.raises(CommandError, match=f"merged into customer {keep.pk}"):
        call_command("merge_customers", keep.pk, other.pk)
    with pytest.raises(NotFound):
        customer_get(pk=other.pk)


def test_the_plan_reads_only(two: Any) -> None:
    plan = merge_plan(keep=two[0], other=two[1])
    assert (plan.obstacles, len(plan.moved), Event.objects.count()) == ((), 1, 0)
