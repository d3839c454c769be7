"""What a crew has to be told when its day changed."""

from hypothesis import given
from hypothesis import strategies as st

from routing.dispatch.domain.changes import NOTICEABLE_MINUTES, Change, CrewDay, StopTime, day_changes


def day(crew: str, *stops: tuple[int, int], leave: int = 450) -> CrewDay:
    """A day with stops (job, arrival); each street is called after its job."""
    return CrewDay(crew, leave, tuple(StopTime(job, f"street {job}", minute) for job, minute in stops))


@st.composite
def versions(draw: st.DrawFn) -> list[CrewDay]:
    """Some of eight jobs, each with one of three crews at most, in any order at any time."""
    jobs = draw(st.lists(st.integers(1, 8), unique=True, max_size=8))
    crews = {job: draw(st.sampled_from("ABC")) for job in jobs}
    minutes = {job: draw(st.integers(400, 1000)) for job in jobs}
    out = [crew for crew in draw(st.permutations("ABC")) if crew in crews.values() or draw(st.booleans())]
    leave = {crew: draw(st.integers(400, 480)) for crew in out}
    return [day(crew, *((job, minutes[job]) for job in jobs if crews[job] == crew), leave=leave[crew]) for crew in out]


@given(versions())
def test_the_same_day_has_no_changes(days: list[CrewDay]) -> None:
    """Sending out twice what nobody touched says nothing."""
    assert day_changes(days, list(reversed(days))) == ()


@given(versions(), versions())
def test_no_stop_comes_or_goes_unsaid(before: list[CrewDay], after: list[CrewDay]) -> None:
    """What each crew had, less what went and with what came, is what it has now."""
    changes = day_changes(before, after)
    for crew in "ABC":
        had = {stop.job_id for one in before if one.crew == crew for stop in one.stops}
        has = {stop.job_id for one in after if one.crew == crew for stop in one.stops}
        came = {c.job_id for c in changes if c.crew == crew and c.kind in ("added", "from_crew")}
        went = {c.job_id for c in changes if c.crew == crew and c.kind in ("taken_out", "to_crew")}
        assert (had - went) | came == has
        assert not came & went


@given(versions(), versions())
def test_the_way_back_says_the_opposite(before: list[CrewDay], after: list[CrewDay]) -> None:
    """What came one way goes the other way; orders and times change as often."""
    turned = {"added": "taken_out", "taken_out": "added", "from_crew": "to_crew", "to_crew": "from_crew"}
    there = sorted((c.crew, turned.get(c.kind, c.kind), c.job_id or 0) for c in day_changes(before, after))
    back = sorted((c.crew, c.kind, c.job_id or 0) for c in day_changes(after, before))
    assert there == back


@given(versions(), versions())
def test_every_noticeable_shift_is_said(before: list[CrewDay], after: list[CrewDay]) -> None:
    """A stop that stays with its crew and moves by more than five minutes is named with both times."""
    changes = {(c.crew, c.job_id): c for c in day_changes(before, after) if c.kind == "time"}
    old = {(one.crew, stop.job_id): stop.arrive_minute for one in before for stop in one.stops}
    new = {(one.crew, stop.job_id): stop.arrive_minute for one in after for stop in one.stops}
    moved = {key for key in old.keys() & new.keys() if abs(old[key] - new[key]) > NOTICEABLE_MINUTES}
    assert changes.keys() == moved
    assert all((c.before_minute, c.after_minute) == (old[key], new[key]) for key, c in changes.items())


def test_five_minutes_are_not_worth_a_word() -> None:
    """Five minutes pass in silence, six are said."""
    before = [day("A", (1, 480), (2, 600))]
    assert day_changes(before, [day("A", (1, 485), (2, 595))]) == ()
    assert [c.job_id for c in day_changes(before, [day("A", (1, 486), (2, 600))])] == [1]


def test_moved_to_another_crew() -> None:
    """Both crews hear of it, each with the other's name."""
    changes = day_changes([day("A", (1, 480)), day("B", (2, 500))], [day("A"), day("B", (2, 500), (1, 640))])
    assert changes == (
        Change("A", "to_crew", 1, "street 1", "B", before_minute=480),
        Change("B", "from_crew", 1, "street 1", "A", after_minute=640),
    )


def test_a_new_order_is_said_once() -> None:
    """The new order comes in one line, then the times."""
    changes = day_changes([day("A", (1, 480), (2, 600), (3, 720))], [day("A", (3, 480), (1, 600), (2, 720))])
    assert [change.kind for change in changes] == ["order", "time", "time", "time"]
    assert changes[0].label == "street 3 – street 1 – street 2"


def test_leaving_earlier_is_said() -> None:
    """The crew that has to be in the yard earlier is told."""
    (change,) = day_changes([day("A", (1, 480))], [day("A", (1, 480), leave=430)])
    assert (change.kind, change.before_minute, change.after_minute) == ("leave", 450, 430)
