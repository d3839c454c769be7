"""Route sheets from rows: of a route as it stands in the plan, or as it was sent out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Prefetch
from django.utils.translation import gettext as _

from jobs.mixing.choices import Surface
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.selectors import MixBook, direction_now, mix_book
from jobs.walkthroughs.models import ChalkReading, Finding
from jobs.walkthroughs.selectors import Gate, latest_readings, newest_findings, start_gates
from jobs.walkthroughs.words import chalk_is_left, found_words, reading_words
from jobs.work.met import HouseNotes, house_notes
from jobs.work.models import Job, JobLine
from jobs.work.selectors import last_removals
from pricing.catalogue.choices import Unit
from routing.dispatch.cautions import OF_MIXES, common_cautions, first_words, hazards_of, stop_cautions
from routing.dispatch.instructions import Found, line_steps, walls_of
from routing.dispatch.load_out import load_out, service_name
from routing.dispatch.mix_notes import injector_of, mix_note, truck_totals
from routing.dispatch.models import Rig, SentPlan, SentRoute, SentStop
from routing.dispatch.selectors.driving import Leg, RouteDrives, problem_of, route_drives
from routing.dispatch.selectors.weather import day_weather
from routing.dispatch.sheet import ChalkNote, Sheet, SheetLine, SheetStop, SheetWall
from routing.dispatch.weather_words import weather_words
from routing.plans.choices import PlanState
from routing.plans.models import DayPlan, Route, Stop
from routing.plans.selectors.hours import wall_minute
from routing.plans.selectors.ways import route_ways
from routing.roads.words import step_words
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.errors import NotFound
from shared.web.words import clock_words, phone_words


@dataclass(frozen=True)
class _Chalk:
    """The newest readings of the day's walls, and when chalk was last taken off them."""

    readings: Mapping[int, ChalkReading]
    removals: Mapping[int, date]


@dataclass(frozen=True)
class _Work:
    """What the lines of the day take and how they are done."""

    book: MixBook
    injector: Injector | None
    jug_ml: int | None
    findings: Mapping[int, Sequence[Finding]]
    direction: str


def sheet_of_route(*, route_id: int) -> Sheet:
    """The sheet of a route as it stands in the plan now. Raises NotFound."""
    route = Route.objects.select_related("plan__yard", "crew__truck").filter(pk=route_id).first()
    if route is None:
        raise NotFound(_("There is no such route."))
    stops = list(Stop.objects.filter(route=route).order_by("position").prefetch_related(_with_jobs()))
    job_ids = [stop.job_id for stop in stops]
    drives = route_drives(problem=problem_of(route.plan), crew_code=route.crew.code, job_ids=job_ids)
    return _sheet(route.plan, route, stops, drives, _version_of_plan(route.plan))


def sheet_of_sent(*, route: SentRoute) -> Sheet:
    """The sheet of a route as it was sent out."""
    stops = list(SentStop.objects.filter(route=route).order_by("position").prefetch_related(_with_jobs()))
    legs = tuple((stop.leg_minutes, stop.leg_metres) for stop in stops)
    drives = RouteDrives(legs, (route.home_leg_minutes, route.home_leg_metres), route.break_length_minutes)
    version = _("version %(number)s") % {"number": route.sent.number}
    return _sheet(route.sent.plan, route, stops, drives, version)


def _with_jobs() -> Prefetch:
    lines = JobLine.objects.select_related("service").prefetch_related("service__skills", "walls")
    jobs = Job.objects.select_related("property__customer")
    return Prefetch("job", jobs.prefetch_related(Prefetch("lines", lines), "windows", "property__walls"))


def _version_of_plan(plan: DayPlan) -> str:
    if plan.state == PlanState.DRAFT:
        return _("draft, not sent out")
    number = SentPlan.objects.filter(plan=plan).order_by("-number").values_list("number", flat=True).first()
    if plan.state == PlanState.CHANGED:
        return _("changed since version %(number)s was sent out") % {"number": number}
    return _("version %(number)s") % {"number": number}


def _sheet(
    plan: DayPlan, route: Route | SentRoute, stops: Sequence[Stop | SentStop], drives: RouteDrives, version: str
) -> Sheet:
    company, chalk = company_get(), _chalk_of(stops)
    truck = route.crew.truck
    rig = Rig.objects.filter(truck=truck).first() if truck else None
    work = _work_of(stops, rig, plan.work_date)
    gates = start_gates(job_ids=[stop.job_id for stop in stops])
    rows = [
        _stop(stop, leg, plan, chalk, work, company, gates[stop.job_id])
        for stop, leg in zip(stops, drives.legs, strict=True)
    ]
    turns = _turns(plan, stops)
    rows = [replace(row, turns=words) for row, words in zip(_with_met(rows, plan, stops), turns[:-1], strict=True)]
    notes = [note for row in rows for line in row.lines for note in line.mixes]
    hazards = [(row.number, row.hazards) for row in rows]
    return Sheet(
        crew=route.crew.name,
        crew_code=route.crew.code,
        workers=route.crew.workers,
        truck=truck.code if truck else "",
        company=company.name,
        yard=plan.yard.name,
        yard_address=plan.yard.address,
        work_date=plan.work_date,
        version=version,
        is_sent=isinstance(route, SentRoute) or plan.state == PlanState.SENT_OUT,
        drive_source=plan.drive_source,
        leave=_clock(plan, route.leave_minute),
        back=_clock(plan, route.back_minute),
        break_at=None if route.break_minute is None else _clock(plan, route.break_minute),
        break_minutes=drives.break_minutes,
        home_leg_minutes=drives.home[0],
        home_leg_metres=drives.home[1],
        drive_minutes=route.drive_minutes,
        drive_metres=route.drive_metres,
        on_site_minutes=sum(row.on_site_minutes for row in rows),
        paid_minutes=route.paid_minutes,
        stops=_with_break(rows, stops, route.break_minute),
        load_out=load_out((stop.job for stop in stops), truck.gear if truck else ""),
        mix_totals=truck_totals(notes, rig, truck.mix_litres if truck else None),
        limits=tuple(dict.fromkeys(words for note in notes for words in note.footings)),
        first_words=first_words(),
        weather=weather_words(day_weather(yard=plan.yard, work_date=plan.work_date)),
        cautions=common_cautions(hazards),
        mix_cautions=common_cautions(hazards, OF_MIXES),
        home_turns=turns[-1],
    )


def _turns(plan: DayPlan, stops: Sequence[Stop | SentStop]) -> list[tuple[str, ...]]:
    """The way to each stop and back to the yard, in words; empty where roads do not tell."""
    ways = route_ways(plan, [stop.job.property for stop in stops])
    return [tuple(map(step_words, way.steps)) for way in ways] or [()] * (len(stops) + 1)


def _with_met(rows: Sequence[SheetStop], plan: DayPlan, stops: Sequence[Stop | SentStop]) -> list[SheetStop]:
    """What each house's record warns of: what met there or was not rinsed since, and what lies there."""
    places = {stop.job_id: stop.job.property_id for stop in stops}
    notes = house_notes(property_ids=set(places.values()), now=clock.now(), zone=plan.yard.timezone)
    found = [(row, notes.get(places[row.job_id], HouseNotes())) for row in rows]
    return [
        replace(row, met=tuple(note.words for note in house.for_job(row.job_id)), unrinsed=house.unrinsed)
        for row, house in found
    ]


def _clock(plan: DayPlan, minute: int) -> int:
    return wall_minute(plan.work_date, minute, plan.yard.timezone)


def _chalk_of(stops: Sequence[Stop | SentStop]) -> _Chalk:
    walls = [wall.pk for stop in stops for wall in stop.job.property.walls.all()]
    return _Chalk(latest_readings(walls), last_removals(wall_ids=walls))


def _work_of(stops: Sequence[Stop | SentStop], rig: Rig | None, day: date) -> _Work:
    services = {line.service_id for stop in stops for line in stop.job.lines.all()}
    return _Work(
        book=mix_book(service_ids=services, today=day),
        injector=injector_of(rig),
        jug_ml=rig.jug_ml if rig else None,
        findings=newest_findings(job_ids=[stop.job_id for stop in stops]),
        direction=direction_now(),
    )


def _with_break(
    rows: list[SheetStop], stops: Sequence[Stop | SentStop], break_minute: int | None
) -> tuple[SheetStop, ...]:
    """Mark the stop before which the break is taken; none where it comes after the last."""
    if break_minute is not None:
        after = next((i for i, stop in enumerate(stops) if stop.start_minute >= break_minute), None)
        if after is not None:
            rows[after] = replace(rows[after], break_before=True)
    return tuple(rows)


def _stop(
    stop: Stop | SentStop, leg: Leg, plan: DayPlan, chalk: _Chalk, work: _Work, company: Company, gate: Gate
) -> SheetStop:
    job, place = stop.job, stop.job.property
    walls, lines = _walls(job, chalk), _lines(job, chalk, work)
    hazards = hazards_of(job, {note.chemistry for line in lines for note in line.mixes})
    return SheetStop(
        stop_id=stop.pk,
        job_id=job.pk,
        number=stop.position,
        leg_minutes=leg[0],
        leg_metres=leg[1],
        arrive=_clock(plan, stop.arrive_minute),
        start=_clock(plan, stop.start_minute),
        finish=_clock(plan, stop.finish_minute),
        on_site_minutes=stop.finish_minute - stop.start_minute,
        windows=tuple(_windows(job, plan.work_date)),
        address=place.address,
        geo=geo_uri(place.latitude, place.longitude),
        customer=place.customer.name,
        phone=place.customer.phone_e164,
        phone_words=phone_words(place.customer.phone_e164, company.country) if place.customer.phone_e164 else "",
        gate=place.gate_note,
        pets=place.pet_note,
        property_note=place.note,
        note=job.note,
        lines=lines,
        walls=walls,
        chalk=_chalk_notes(walls, gate),
        hazards=hazards,
        cautions=stop_cautions(job, hazards),
        common_cautions=common_cautions([(stop.position, hazards)]),
        start_gate=gate,
    )


def geo_uri(latitude: float | None, longitude: float | None) -> str:
    """A `geo:` address (RFC 5870: latitude, then longitude); empty for a property without a place."""
    return "" if latitude is None or longitude is None else f"geo:{latitude:.6f},{longitude:.6f}"


def _windows(job: Job, work_date: date) -> list[str]:
    found = [w for w in job.windows.all() if w.first_date <= work_date <= w.last_date]
    promised = [w for w in found if w.promised]
    texts = []
    for window in promised or found:
        hours = f"{clock_words(window.start_minute)} – {clock_words(window.end_minute)}"
        if window.promised:
            texts.append(_("promised: begin %(hours)s") % {"hours": hours})
        elif (window.start_minute, window.end_minute) != (0, 1439):
            texts.append(_("begin %(hours)s") % {"hours": hours})
    return texts


def _lines(job: Job, chalk: _Chalk, work: _Work) -> tuple[SheetLine, ...]:
    rows: list[SheetLine] = []
    for line in job.lines.all():
        rows.append(_line(line, job, chalk, work, {note.chemistry for row in rows for note in row.mixes}))
    return tuple(rows)


def _line(line: JobLine, job: Job, chalk: _Chalk, work: _Work, poured_before: set[str]) -> SheetLine:
    mixes = work.book.line_mixes(
        service_id=line.service_id,
        quantity=line.quantity,
        surfaces=_surfaces(line, job),
        injector=work.injector,
    )
    left = {
        wall.pk: chalk.readings[wall.pk]
        for wall in job.property.walls.all()
        if chalk_is_left(chalk.readings.get(wall.pk), chalk.removals.get(wall.pk))
    }
    found = Found(left, work.findings.get(job.pk, ()))
    return SheetLine(
        line_id=line.pk,
        service=service_name(line.service),
        quantity=f"{line.quantity:,} {line.service.get_unit_display()}",
        minutes=line.estimated_minutes,
        note=line.note,
        walls=", ".join(_(wall.name) for wall in line.walls.all()),
        mixes=tuple(mix_note(mix, work.injector, work.jug_ml) for mix in mixes),
        steps=line_steps(line, job, mixes, found, work.direction, poured_before),
    )


def _surfaces(line: JobLine, job: Job) -> set[str]:
    """What the line's mixes touch, as limits name it."""
    if any(skill.code == "roof" for skill in line.service.skills.all()):
        return {Surface.ROOF.value}
    if line.service.unit != Unit.WALL_SQFT:
        return set()
    return {wall.material for wall in walls_of(line, job)} or {Surface.WALL.value}


def _walls(job: Job, chalk: _Chalk) -> tuple[SheetWall, ...]:
    rows = []
    for wall in job.property.walls.all():
        reading, removed_on = chalk.readings.get(wall.pk), chalk.removals.get(wall.pk)
        shown = chalk_is_left(reading, removed_on)
        found = found_words(reading) if reading and shown else ""
        rows.append(SheetWall(wall.pk, _(wall.name), reading_words(reading, removed_on), shown, found))
    return tuple(sorted(rows, key=lambda row: not row.is_shown_first))


def _chalk_notes(walls: Sequence[SheetWall], gate: Gate) -> tuple[ChalkNote, ...]:
    """The walls by what is to be said of them, what the homeowner has to see first; nothing needs showing again."""
    names: dict[tuple[str, bool, str], list[str]] = {}
    for wall in walls:
        names.setdefault((wall.words, wall.is_shown_first, wall.found), []).append(wall.name)
    notes = [ChalkNote(", ".join(of), *same) for same, of in names.items()]
    return tuple(note.seen() if gate.is_settled else note for note in notes)
