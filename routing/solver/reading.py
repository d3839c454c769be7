"""JSON in, frozen data out; every fault is collected with its path before anything is refused.

What the contract leaves open is decided here:
- Unknown fields are ignored. A field given twice in one object is a fault.
- Required of a crew: id, start, end, shift, cents_per_minute, cents_per_km, fixed_cents. Required of
  a job: id, place, on_site_minutes, gain_cents and at least one window. Everything else has a
  default: no skills, no overtime, no break, unlimited capacity, pace 100, no needs, nothing used,
  any crew, not promised, no preference, nothing fixed, no reserve.
- Quantities are JSON integers: 12.0, "12", true, NaN and 1e30 are faults. Every quantity has a bound
  (see `_LIMITS`), so that no sum over a day can leave 64 bits.
- null in either table means that the drive is never made.
"""

from collections import Counter
from collections.abc import Mapping
from typing import Any

from . import plan as plans
from .plan import BestRatio, LeftOut, Plan, RoutePlan, Status, Stop
from .problem import FORMAT, Break, Crew, Job, Overtime, Prefer, Problem, Table
from .reader import Enough, MalformedProblem, Reader, optional, short

MAX_JOBS = 20_000
MAX_CREWS = 1_000
MAX_PLACES = 20_001
MAX_WINDOWS = 100
MAX_SHIFT_MINUTES = 10**6


def parse_problem(data: Any) -> Problem:
    """A problem from decoded JSON. Raises MalformedProblem with every fault (at most 100, the rest counted)."""
    reader = Reader()
    try:
        root = reader.record(data, "$")
        parts = _problem_parts(reader, root)
        _check_references(reader, root, **parts)
    except Enough:
        raise MalformedProblem(reader.faults, reader.more) from None
    if reader.faults:
        raise MalformedProblem(reader.faults, reader.more)
    return Problem(**parts)


def _problem_parts(reader: Reader, root: dict[str, Any]) -> dict[str, Any]:
    if root.get("format") != FORMAT:
        reader.fault("$.format", f'must be "{FORMAT}"')
    places = reader.names(reader.required(root, "places", "$"), "$.places", MAX_PLACES)
    crews = reader.items(reader.required(root, "crews", "$"), "$.crews", MAX_CREWS)
    jobs = reader.items(reader.required(root, "jobs", "$"), "$.jobs", MAX_JOBS)
    size = len(places) if _all_read(root.get("places"), places) else None
    tables = {
        name: _table(reader, root, name, limit, size)
        for name, limit in (("drive_minutes", "minutes"), ("drive_metres", "metres"))
    }
    return {
        "places": places,
        **tables,
        "crews": tuple(_crew(reader, crew, f"$.crews[{i}]") for i, crew in enumerate(crews)),
        "jobs": tuple(_job(reader, job, f"$.jobs[{i}]") for i, job in enumerate(jobs)),
        "fixed": _fixed(reader, root),
        "reserve_cents_per_crew_hour": optional(
            root, "reserve_cents_per_crew_hour", "$", lambda v, p: reader.whole(v, p, "rate"), 0
        ),
    }


def _table(reader: Reader, root: dict[str, Any], name: str, limit: str, size: int | None) -> Table:
    """`size` is None where nobody knows how many places there are."""
    path = f"$.{name}"
    rows = reader.items(reader.required(root, name, "$"), path, MAX_PLACES)
    if isinstance(root.get(name), list) and size not in (None, len(rows)):
        reader.fault(path, f"has {len(rows)} rows, one for each of the {size} places is needed")
    return tuple(_row(reader, row, f"{path}[{i}]", limit, size) for i, row in enumerate(rows))


def _row(reader: Reader, row: Any, path: str, limit: str, size: int | None) -> tuple[int | None, ...]:
    cells = reader.items(row, path, MAX_PLACES)
    if isinstance(row, list) and size not in (None, len(cells)):
        reader.fault(path, f"has {len(cells)} columns, one for each of the {size} places is needed")
    for column in reader.wrong_cells(cells, limit):
        if cells[column] is not None:
            reader.whole(cells[column], f"{path}[{column}]", limit)
    return tuple(cells)


def _crew(reader: Reader, value: Any, path: str) -> Crew:
    crew = reader.record(value, path)
    shift = reader.window(reader.required(crew, "shift", path), f"{path}.shift")
    if shift[1] - shift[0] > MAX_SHIFT_MINUTES:
        reader.fault(f"{path}.shift", f"is longer than {MAX_SHIFT_MINUTES} minutes")
    return Crew(
        id=reader.need_text(crew, "id", path),
        start=reader.need_text(crew, "start", path),
        end=reader.need_text(crew, "end", path),
        shift=shift,
        cents_per_minute=reader.need_whole(crew, "cents_per_minute", path, "rate"),
        cents_per_km=reader.need_whole(crew, "cents_per_km", path, "rate"),
        fixed_cents=reader.need_whole(crew, "fixed_cents", path, "cost"),
        skills=optional(crew, "skills", path, reader.names, ()),
        overtime=optional(crew, "overtime", path, lambda v, p: _overtime(reader, v, p), None),
        rest=optional(crew, "break", path, lambda v, p: _break(reader, v, p), None),
        capacity=optional(crew, "capacity", path, reader.amounts, {}),
        pace_percent=optional(crew, "pace_percent", path, lambda v, p: reader.whole(v, p, "pace"), 100),
    )


def _overtime(reader: Reader, value: Any, path: str) -> Overtime:
    record = reader.record(value, path)
    after = reader.need_whole(record, "after_minutes", path, "minutes")
    extra = reader.need_whole(record, "extra_cents_per_minute", path, "rate")
    return Overtime(after, extra)


def _break(reader: Reader, value: Any, path: str) -> Break:
    record = reader.record(value, path)
    minutes = reader.need_whole(record, "minutes", path, "minutes")
    window = reader.window(reader.required(record, "window", path), f"{path}.window")
    return Break(minutes, window, optional(record, "paid", path, reader.flag, False))


def _job(reader: Reader, value: Any, path: str) -> Job:
    job = reader.record(value, path)
    windows = reader.items(reader.required(job, "windows", path), f"{path}.windows", MAX_WINDOWS)
    if isinstance(job.get("windows"), list) and not job["windows"]:
        reader.fault(f"{path}.windows", "must hold at least one window")
    read = [reader.window(w, f"{path}.windows[{i}]") for i, w in enumerate(windows)]
    return Job(
        id=reader.need_text(job, "id", path),
        place=reader.need_text(job, "place", path),
        on_site_minutes=reader.need_whole(job, "on_site_minutes", path, "minutes"),
        windows=tuple(read) or ((0, 0),),
        gain_cents=reader.need_whole(job, "gain_cents", path, "cents"),
        needs=optional(job, "needs", path, reader.names, ()),
        uses=optional(job, "uses", path, reader.amounts, {}),
        crews=optional(job, "crews", path, reader.names, None),
        must_do=optional(job, "must_do", path, reader.flag, False),
        prefer=optional(job, "prefer", path, lambda v, p: _prefer(reader, v, p), None),
    )


def _prefer(reader: Reader, value: Any, path: str) -> Prefer:
    record = reader.record(value, path)
    crew = reader.need_text(record, "crew", path)
    return Prefer(crew, reader.need_whole(record, "cents", path, "cost"))


def _fixed(reader: Reader, root: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    if "fixed" not in root:
        return {}
    record = reader.record(root["fixed"], "$.fixed")
    return {crew: reader.names(jobs, f"$.fixed.{short(crew)}", MAX_JOBS) for crew, jobs in record.items()}


def _check_references(
    reader: Reader,
    root: dict[str, Any],
    places: tuple[str, ...],
    crews: tuple[Crew, ...],
    jobs: tuple[Job, ...],
    fixed: dict[str, tuple[str, ...]],
    **_rest: Any,
) -> None:
    """Names that are used but not given, or given twice, also beside faults of other kinds."""
    crew_ids, job_ids = tuple(crew.id for crew in crews), tuple(job.id for job in jobs)
    known_places = _known(reader, root, "places", places, "$.places[{}]")
    known_crews = _known(reader, root, "crews", crew_ids, "$.crews[{}].id")
    known_jobs = _known(reader, root, "jobs", job_ids, "$.jobs[{}].id")
    for i, crew in enumerate(crews):
        _check_known(reader, f"$.crews[{i}].start", crew.start, known_places, "place")
        _check_known(reader, f"$.crews[{i}].end", crew.end, known_places, "place")
    for i, job in enumerate(jobs):
        _check_known(reader, f"$.jobs[{i}].place", job.place, known_places, "place")
        for k, crew_id in enumerate(job.crews or ()):
            _check_known(reader, f"$.jobs[{i}].crews[{k}]", crew_id, known_crews, "crew")
        if job.prefer:
            _check_known(reader, f"$.jobs[{i}].prefer.crew", job.prefer.crew, known_crews, "crew")
    _check_fixed(reader, fixed, known_crews, known_jobs)


def _known(reader: Reader, root: dict[str, Any], field: str, names: tuple[str, ...], path: str) -> set[str] | None:
    """The names of one kind, each given once; None where some of them could not be read."""
    first: dict[str, int] = {}
    for index, name in enumerate(names):
        if name and name in first:
            reader.fault(path.format(index), f'"{short(name)}" is already at {path.format(first[name])}')
        first.setdefault(name, index)
    return set(names) if _all_read(root.get(field), names) else None


def _all_read(given: Any, names: tuple[str, ...]) -> bool:
    return isinstance(given, list) and len(given) == len(names) and all(names)


def _check_known(reader: Reader, path: str, name: str, known: set[str] | None, kind: str) -> None:
    """A name that could not be read is blank, and a fault already."""
    if name and known is not None and name not in known:
        reader.fault(path, f'there is no {kind} "{short(name)}"')


def _check_fixed(
    reader: Reader, fixed: dict[str, tuple[str, ...]], crews: set[str] | None, jobs: set[str] | None
) -> None:
    times = Counter(job for order in fixed.values() for job in order if job)
    for crew, order in fixed.items():
        path = f"$.fixed.{short(crew)}"
        if not crew:
            reader.fault(path, "names no crew")
        _check_known(reader, path, crew, crews, "crew")
        for i, job in enumerate(order):
            _check_known(reader, f"{path}[{i}]", job, jobs, "job")
            if times[job] > 1:
                reader.fault(f"{path}[{i}]", f'job "{short(job)}" is fixed more than once')


def parse_plan(data: Any) -> Plan:
    """A plan from decoded JSON. Raises MalformedProblem where it is not a `day-plan/1`.

    Checks the shape only; whether the plan keeps the rules is for `evaluator.evaluate` to say.
    """
    reader = Reader()
    try:
        plan = _plan(reader, data)
    except Enough:
        raise MalformedProblem(reader.faults, reader.more) from None
    if reader.faults:
        raise MalformedProblem(reader.faults, reader.more)
    return plan


def _plan(reader: Reader, data: Any) -> Plan:
    root = reader.record(data, "$")
    if root.get("format") != plans.FORMAT:
        reader.fault("$.format", f'must be "{plans.FORMAT}"')
    if root.get("status") not in plans.FILE_STATUSES:
        reader.fault("$.status", f"must be one of {', '.join(plans.FILE_STATUSES)}")
    routes = reader.items(reader.required(root, "routes", "$"), "$.routes", MAX_CREWS)
    left = reader.items(reader.required(root, "left_out", "$"), "$.left_out", MAX_JOBS)
    return Plan(
        status=_status(reader, root),
        value_cents=reader.need_number(root, "value_cents", "$"),
        upper_bound_cents=reader.need_number(root, "upper_bound_cents", "$"),
        gap=reader.need_number(root, "gap", "$"),
        routes=tuple(_route(reader, route, f"$.routes[{i}]") for i, route in enumerate(routes)),
        left_out=tuple(_left(reader, entry, f"$.left_out[{i}]") for i, entry in enumerate(left)),
        crew_hour_worth_cents=_cents_or_none(reader, root, "crew_hour_worth_cents", "$"),
        seconds=reader.need_number(root, "seconds", "$"),
        solver=optional(root, "solver", "$", reader.record, {}),
        reasons=optional(root, "reasons", "$", reader.sentences, ()),
        best_ratio=optional(root, "best_ratio", "$", lambda v, p: _best_ratio(reader, v, p), None),
    )


def _status(reader: Reader, root: Mapping[str, Any]) -> Status:
    is_proved = optional(root, "infeasible_is_proved", "$", reader.flag, True)
    status: Status = root.get("status", "feasible")
    return "undecided" if status == "infeasible" and not is_proved else status


def _best_ratio(reader: Reader, value: Any, path: str) -> BestRatio:
    record = reader.record(value, path)
    other = reader.record(reader.required(record, "most_value", path), f"{path}.most_value")
    bound = record.get("upper_bound_cents_per_crew_hour")
    return BestRatio(
        profit_cents=reader.need_number(record, "profit_cents", path),
        paid_minutes=reader.need_whole(record, "paid_minutes", path, "total"),
        upper_bound_cents_per_crew_hour=bound
        if bound is None
        else reader.need_number(record, "upper_bound_cents_per_crew_hour", path),
        passes=reader.need_whole(record, "passes", path, "total"),
        most_value_cents=reader.need_number(other, "value_cents", f"{path}.most_value"),
        most_value_profit_cents=reader.need_number(other, "profit_cents", f"{path}.most_value"),
        most_value_paid_minutes=reader.need_whole(other, "paid_minutes", f"{path}.most_value", "total"),
    )


def _route(reader: Reader, value: Any, path: str) -> RoutePlan:
    route = reader.record(value, path)
    stops = reader.items(reader.required(route, "stops", path), f"{path}.stops", MAX_JOBS)
    rest = reader.record(route["break"], f"{path}.break") if "break" in route else None
    start = None if rest is None else reader.need_whole(rest, "start", f"{path}.break", "time")
    return RoutePlan(
        crew=reader.need_text(route, "crew", path),
        leave=reader.need_whole(route, "leave", path, "time"),
        back=reader.need_whole(route, "back", path, "time"),
        drive_minutes=reader.need_whole(route, "drive_minutes", path, "total"),
        drive_metres=reader.need_whole(route, "drive_metres", path, "total"),
        paid_minutes=reader.need_whole(route, "paid_minutes", path, "total"),
        value_cents=reader.need_number(route, "value_cents", path),
        stops=tuple(_stop(reader, stop, f"{path}.stops[{i}]") for i, stop in enumerate(stops)),
        break_start=start,
    )


def _stop(reader: Reader, value: Any, path: str) -> Stop:
    stop = reader.record(value, path)
    times = [reader.need_whole(stop, name, path, "time") for name in ("arrive", "start", "finish")]
    return Stop(reader.need_text(stop, "job", path), *times)


def _left(reader: Reader, value: Any, path: str) -> LeftOut:
    entry = reader.record(value, path)
    reason = entry.get("reason")
    if reason not in plans.LEFT_OUT_REASONS:
        reader.fault(f"{path}.reason", f"must be one of {', '.join(plans.LEFT_OUT_REASONS)}")
        reason = plans.LEFT_OUT_REASONS[0]
    price = _cents_or_none(reader, entry, "price_to_place_cents", path)
    exact = optional(entry, "price_is_exact", path, reader.flag, False)
    return LeftOut(reader.need_text(entry, "job", path), reason, price, exact)


def _cents_or_none(reader: Reader, record: dict[str, Any], name: str, path: str) -> int | None:
    value = record.get(name)
    return None if value is None else reader.whole(value, f"{path}.{name}", "total")
