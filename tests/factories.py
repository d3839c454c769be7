"""Rows for tests, each valid on its own. Every function takes overrides by keyword."""

from datetime import UTC, date, datetime
from itertools import count
from typing import Any

_numbers = count(1)
MOMENT = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


# --- people ---


def make_user(**over: Any) -> Any:
    from shared.people.models import User

    fields = {"username": f"user{next(_numbers)}", "role": "office", **over}
    password = fields.pop("password", "a long enough password")
    return User.objects.create_user(password=password, **fields)


# --- catalogue ---


def make_skill(**over: Any) -> Any:
    from pricing.catalogue.models import Skill

    fields = {"code": f"skill-{next(_numbers)}", "name": "A skill", **over}
    return Skill.objects.create(**fields)


def make_service(**over: Any) -> Any:
    from pricing.catalogue.models import Service

    fields = {
        "code": f"service-{next(_numbers)}",
        "name": "House wash",
        "unit": "wall_sqft",
        "interval_months": 12,
        **over,
    }
    skills = fields.pop("skills", [])
    service = Service.objects.create(**fields)
    service.skills.set(skills)
    return service


# --- customers ---


def make_customer(**over: Any) -> Any:
    from jobs.customers.models import Customer

    number = next(_numbers)
    fields = {
        "name": f"Customer {number}",
        "email": f"customer{number}@example.com",
        "phone_e164": f"+1555555{100 + number % 100:04d}",
        "created_at": MOMENT,
        **over,
    }
    return Customer.objects.create(**fields)


def make_property(**over: Any) -> Any:
    from jobs.customers.models import Property

    fields = {
        "street": f"{next(_numbers)} Sample Street",
        "city": "Sampleton",
        "region": "OH",
        "postal_code": "00001",
        "latitude": 40.0,
        "longitude": -82.0,
        **over,
    }
    fields.setdefault("customer", None)
    fields["customer"] = fields["customer"] or make_customer()
    return Property.objects.create(**fields)


def make_wall(**over: Any) -> Any:
    from jobs.customers.models import Wall

    fields = {"name": f"wall {next(_numbers)}", "facing_degrees": 180, "area_sqft": 500, **over}
    fields["property"] = fields.get("property") or make_property()
    return Wall.objects.create(**fields)


def make_reading(**over: Any) -> Any:
    from jobs.walkthroughs.models import ChalkReading

    fields = {"read_on": date(2026, 5, 1), "reading": 2, **over}
    fields["wall"] = fields.get("wall") or make_wall()
    return ChalkReading.objects.create(**fields)


# --- work ---


def make_job(**over: Any) -> Any:
    """An agreed job with one line; `lines=[{...}]` and `windows=[{...}]` give others."""
    from jobs.work.models import Job, JobLine, JobWindow

    lines = over.pop("lines", [{}])
    windows = over.pop("windows", [])
    fields = {"state": "agreed", "created_at": MOMENT, **over}
    fields["property"] = fields.get("property") or make_property()
    job = Job.objects.create(**fields)
    for line in lines:
        values = {"price_cents": 40_000, "materials_cents": 2_000, "estimated_minutes": 120, "quantity": 1800}
        values |= line
        values["service"] = values.get("service") or make_service()
        walls = values.pop("walls", [])
        JobLine.objects.create(job=job, **values).walls.set(walls)
    for window in windows:
        JobWindow.objects.create(job=job, **window)
    return job


# --- plans ---


def make_yard(**over: Any) -> Any:
    from routing.plans.models import Yard

    fields = {
        "code": f"yard-{next(_numbers)}",
        "name": "Main yard",
        "latitude": 40.01,
        "longitude": -82.01,
        "timezone": "America/New_York",
        **over,
    }
    return Yard.objects.create(**fields)


def make_crew(**over: Any) -> Any:
    """A crew that works 7:30 to 17:00 on every day of the week; `patterns=False` gives none."""
    from routing.plans.models import Crew, ShiftPattern

    with_patterns = over.pop("patterns", True)
    skills = over.pop("skills", [])
    fields = {"code": f"crew-{next(_numbers)}", "name": "Crew", "wage_cents_per_hour": 4_800, **over}
    fields["yard"] = fields.get("yard") or make_yard()
    crew = Crew.objects.create(**fields)
    crew.skills.set(skills)
    if with_patterns:
        ShiftPattern.objects.bulk_create(ShiftPattern(crew=crew, weekday=day) for day in range(7))
    return crew


# --- earnings ---


def make_earning(**over: Any) -> Any:
    """A ledger entry: $300 in an hour and a half on site and 20 minutes of driving, of a job of its own."""
    from pricing.earnings.models import EarningEntry

    fields = {
        "work_date": date(2026, 5, 1),
        "price_cents": 300_00,
        "on_site_minutes": 90,
        "drive_minutes": 20,
        "job_ref": next(_numbers),
        **over,
    }
    fields["service"] = fields.get("service") or make_service()
    return EarningEntry.objects.create(**fields)


# --- dispatch ---


def make_planned_day(*routes: tuple[Any, list[Any]], **over: Any) -> Any:
    """A stored day plan: for each (crew, jobs) a route that starts at 7:30, 10 minutes and 8 km from stop to stop.

    All crews are of one yard. Ten minutes of driving are each stop's share but the last one's, which is twenty.
    """
    from routing.plans.models import DayPlan

    yard = over.pop("yard", None) or routes[0][0].yard
    fields = {
        "yard": yard,
        "work_date": date(2026, 6, 2),
        "inputs_digest": "0" * 64,
        "value_cents": 0,
        "upper_bound_cents": 0,
        "drive_source": "estimated (great circle)",
        "solved_at": MOMENT,
        "changed_at": MOMENT,
        "problem": {},
        "plan": {},
        **over,
    }
    plan = DayPlan.objects.create(**fields)
    set_routes(plan, *routes)
    return plan


def set_routes(plan: Any, *routes: tuple[Any, list[Any]], leave_minute: int = 450) -> None:
    """Give a plan other routes, as a change by hand does; the version grows by one unless there were none."""
    from routing.plans.models import Route, Stop

    is_change = plan.routes.exists()
    plan.routes.all().delete()
    for crew, jobs in routes:
        route = Route.objects.create(
            plan=plan,
            crew=crew,
            leave_minute=leave_minute,
            back_minute=leave_minute + 130 * len(jobs) + 40,
            break_minute=leave_minute + 260 if len(jobs) > 1 else None,
            drive_minutes=10 * (len(jobs) + 1),
            drive_metres=8_000 * (len(jobs) + 1),
            paid_minutes=130 * len(jobs) + 10,
            value_cents=0,
        )
        for position, job in enumerate(jobs, start=1):
            arrive = leave_minute + 130 * position - 120 + (30 if position > 2 else 0)
            last = position == len(jobs)
            Stop.objects.create(
                route=route,
                job=job,
                position=position,
                arrive_minute=arrive,
                start_minute=arrive,
                finish_minute=arrive + 120,
                drive_minutes=20 if last else 10,
                drive_metres=16_000 if last else 8_000,
            )
    plan.problem = _problem_of(routes)
    plan.plan = _plan_of(plan)
    plan.version += 1 if is_change else 0
    plan.state = "changed" if is_change and plan.state != "draft" else plan.state
    plan.save()


def _plan_of(plan: Any) -> dict[str, Any]:
    """The rows of a plan as day-plan/1."""
    names = ("drive_minutes", "drive_metres", "paid_minutes", "value_cents")
    routes = [
        {
            "crew": route.crew.code,
            "leave": route.leave_minute,
            "back": route.back_minute,
            **{name: getattr(route, name) for name in names},
            **({} if route.break_minute is None else {"break": {"start": route.break_minute}}),
            "stops": [
                {
                    "job": f"J{stop.job_id}",
                    "arrive": stop.arrive_minute,
                    "start": stop.start_minute,
                    "finish": stop.finish_minute,
                }
                for stop in route.stops.order_by("position")
            ],
        }
        for route in plan.routes.select_related("crew")
    ]
    return {
        "format": "day-plan/1",
        "status": "feasible",
        "value_cents": 0,
        "upper_bound_cents": 0,
        "gap": 0,
        "routes": routes,
        "left_out": [],
        "crew_hour_worth_cents": None,
        "seconds": 0,
        "solver": {"seed": 1},
    }


def _problem_of(routes: tuple[tuple[Any, list[Any]], ...]) -> dict[str, Any]:
    jobs = [job for _crew, route in routes for job in route]
    places = ["yard", *(f"p{job.pk}" for job in jobs)]
    table = [[0 if a == b else 1 for b in places] for a in places]
    return {
        "format": "day-problem/1",
        "places": places,
        "drive_minutes": [[10 * cell for cell in row] for row in table],
        "drive_metres": [[8_000 * cell for cell in row] for row in table],
        "crews": [
            {
                "id": crew.code,
                "start": "yard",
                "end": "yard",
                "shift": [0, 1200],
                "skills": [],
                "cents_per_minute": 90,
                "cents_per_km": 45,
                "fixed_cents": 0,
                "break": {"minutes": 30, "window": [0, 1200], "paid": False},
            }
            for crew, _jobs in routes
        ],
        "jobs": [
            {
                "id": f"J{job.pk}",
                "place": f"p{job.pk}",
                "on_site_minutes": 120,
                "windows": [[0, 1200]],
                "gain_cents": 40_000,
                "needs": [],
                "uses": {},
                "must_do": False,
            }
            for job in jobs
        ],
        "reserve_cents_per_crew_hour": 0,
    }


# --- reminders and messages ---


def set_company(**over: Any) -> Any:
    """The company with everything that a message needs, and `over`. Nobody is held back unless a test says so."""
    from jobs.reminders.models import HoldingBack
    from shared.company.selectors import company_get

    HoldingBack.objects.get_or_create(pk=1, defaults={"percent": 0, "seed": "seed"})
    company = company_get()
    fields = {
        "name": "Sample Wash",
        "street": "1 Yard Lane",
        "city": "Sampleton",
        "region": "OH",
        "postal_code": "00001",
        "phone_e164": "+15555550100",
        "email": "office@example.com",
        **over,
    }
    for name, value in fields.items():
        setattr(company, name, value)
    company.save()
    return company


def make_interval(**over: Any) -> Any:
    """A service that was last done on 1 June 2025 and is due on 1 June 2026."""
    from jobs.work.models import ServiceInterval

    fields = {"interval_months": 12, "last_done_on": date(2025, 6, 1), "next_due_on": date(2026, 6, 1), **over}
    fields["property"] = fields.get("property") or make_property()
    fields["service"] = fields.get("service") or make_service()
    return ServiceInterval.objects.create(**fields)


def make_consent(**over: Any) -> Any:
    from jobs.customers.models import Consent

    fields = {"channel": "email", "purpose": "reminder", "given": False, "source": "call", "at": MOMENT, **over}
    fields["customer"] = fields.get("customer") or make_customer()
    return Consent.objects.create(**fields)


def make_visit_of(service: Any, place: Any, work_date: date, **over: Any) -> Any:
    """A visit at `place` on which `service` was done, with its job; `minutes` are those of the service."""
    from jobs.work.models import Visit, VisitLine

    line = {"minutes": over.pop("minutes", None), "price_cents": 40_000}
    job = make_job(property=place, state="done", lines=[{"service": service}])
    visit = Visit.objects.create(job=job, work_date=work_date, on_site_minutes=60, recorded_at=MOMENT, **over)
    VisitLine.objects.create(visit=visit, service=service, job_line=job.lines.get(), **line)
    return visit


def make_message(**over: Any) -> Any:
    """A waiting message to an invented mailbox."""
    from shared.outbox.models import Message

    number = next(_numbers)
    fields = {
        "dedupe_key": f"message-{number}",
        "channel": "email",
        "purpose": "note",
        "recipient": f"person{number}@example.com",
        "recipient_name": f"Person {number}",
        "subject": "A subject",
        "body": "A body.\n",
        "created_at": MOMENT,
        **over,
    }
    return Message.objects.create(**fields)


# --- stored plans ---


def make_target(**over: Any) -> Any:
    from pricing.catalogue.models import HourlyTarget

    fields = {"effective_from": date(2020, 1, 1), "target_cents_per_crew_hour": 15_000, **over}
    return HourlyTarget.objects.create(**fields)


def make_truck(**over: Any) -> Any:
    from routing.plans.models import Truck

    fields = {"code": f"truck-{next(_numbers)}", "cents_per_km": 40, **over}
    fields["yard"] = fields.get("yard") or make_yard()
    return Truck.objects.create(**fields)


def make_day_plan(**over: Any) -> Any:
    """A stored plan of all jobs of a day, planned in this process by the real solver. Makes a job unless told of `jobs`
    that are there already."""
    from routing.plans.models import DayPlan
    from routing.plans.selectors import day_problem
    from routing.plans.services.storing import plan_rows_replace
    from routing.solver import RoundLimit, plan_to_json, problem_to_json, solve

    day = over.pop("work_date", date(2026, 6, 3))
    yard = over.pop("yard", None) or make_crew().yard
    if not over.pop("jobs", None):
        make_job(windows=[{"first_date": day, "last_date": day}])
    inputs = day_problem(yard=yard, work_date=day, now=MOMENT)
    content = solve(inputs.problem, stop=RoundLimit(0))
    fields = {
        "problem": problem_to_json(inputs.problem),
        "plan": plan_to_json(content),
        "inputs_digest": inputs.digest,
        "value_cents": content.value_cents,
        "upper_bound_cents": content.upper_bound_cents,
        "drive_source": inputs.drive_source,
        "solved_at": MOMENT,
        "changed_at": MOMENT,
        **over,
    }
    plan = DayPlan.objects.create(yard=yard, work_date=day, **fields)
    plan_rows_replace(plan=plan, problem=inputs.problem, content=content, taken_out=(), set_aside=inputs.set_aside)
    return plan


def make_mark(**over: Any) -> Any:
    from routing.dispatch.models import StopMark

    fields = {"kind": "arrived", "work_date": date(2026, 6, 3), "at": datetime(2026, 6, 3, 12, 0, tzinfo=UTC), **over}
    return StopMark.objects.create(**fields)


# --- products and mixes ---


def make_product(**over: Any) -> Any:
    from jobs.mixing.models import Product

    fields = {"name": f"Product {next(_numbers)}", "chemistry": "hypochlorite", "is_corrosive": True, **over}
    return Product.objects.create(**fields)


def make_stock(**over: Any) -> Any:
    """12.5 trade percent in four five-gallon jugs, delivered on 1 June 2026."""
    from jobs.mixing.models import Stock

    fields = {
        "received_on": date(2026, 6, 1),
        "basis_points": 1250,
        "basis": "trade",
        "gravity_thousandths": 1160,
        "storage_f": 70,
        "package_ml": 18_927,
        "packages": 4,
        **over,
    }
    fields["product"] = fields.get("product") or make_product()
    return Stock.objects.create(**fields)


def make_mix(**over: Any) -> Any:
    """One percent at the surface through the injector, two gallons for 100 units."""
    from jobs.mixing.models import Mix

    fields = {
        "target_basis_points": 100,
        "target_basis": "trade",
        "way": "injector",
        "surface_ml_per_100_units": 7_571,
        **over,
    }
    fields["product"] = fields.get("product") or make_product()
    fields["service"] = fields.get("service") or make_service()
    return Mix.objects.create(**fields)


# --- walkthroughs ---


def make_walkthrough(**over: Any) -> Any:
    """A walkthrough by the service: chalk 3 on one wall unless `walls` says otherwise; other walls are left out."""
    from decimal import Decimal
    from uuid import uuid4

    from jobs.walkthroughs.inputs import SIDES, LeftOutInput, WalkthroughInput, WallInput
    from jobs.walkthroughs.services import walkthrough_record

    job = over.pop("job", None) or make_job()
    now = over.pop("now", MOMENT)
    actor = over.pop("actor", None)
    if "walls" not in over:
        wall = job.property.walls.first() or make_wall(property=job.property)
        over["walls"] = (WallInput(spots=(Decimal(over.pop("chalk", 3)),) * 3, wall_id=wall.pk),)
    tested = {wall.wall_id for wall in over["walls"]}
    others = job.property.walls.exclude(pk__in=tested - {None})
    left_out = tuple(LeftOutInput("not_washed", wall_id=wall.pk) for wall in others)
    if not job.property.walls.exists():
        left_out = tuple(LeftOutInput("not_washed", name=name) for name in SIDES)
    entry = WalkthroughInput(**{"key": uuid4(), "walked_on": MOMENT.date(), "left_out": left_out, **over})
    return walkthrough_record(job=job, entry=entry, now=now, actor=actor)


def tested(wall: Any, chalk: int) -> Any:
    """Three spots alike on a wall."""
    from decimal import Decimal

    from jobs.walkthroughs.inputs import WallInput

    return WallInput(spots=(Decimal(chalk),) * 3, wall_id=wall.pk)


def make_picture(*, size: tuple[int, int] = (640, 480), kind: str = "JPEG", **save: Any) -> bytes:
    """A drawn picture of siding."""
    import io

    from PIL import Image

    image = Image.linear_gradient("L").resize(size).convert("RGB")
    out = io.BytesIO()
    image.save(out, kind, **save)
    return out.getvalue()


def make_notice(**over: Any) -> Any:
    from jobs.walkthroughs.services import notice_make

    walkthrough = over.pop("walkthrough", None) or make_walkthrough(**over)
    return notice_make(walkthrough=walkthrough, now=MOMENT)


def settle_notice(job: Any) -> None:
    """The job may be started: somebody walked around the house and found nothing to show."""
    make_walkthrough(job=job, chalk=1)


# --- chalking ---


def make_forecast(**over: Any) -> Any:
    """A south wall of 2015 that was read at 1.5 on 1 May 2025 and is expected to pass 2 about 15 June 2026; with
    `reading=None` a forecast of the walls like it, which nobody read."""
    from jobs.chalking.models import ChalkModel, WallForecast

    model = ChalkModel.objects.first() or ChalkModel.objects.create(
        fitted_at=MOMENT, wall_count=1, reading_count=1, inputs_digest="0" * 64, parameters={"log_shape": 0.0},
        covariance=[[0.0]],
    )  # fmt: skip
    reading, read_on = over.pop("reading", 1.5), over.pop("read_on", date(2025, 5, 1))
    wall = over.pop("wall", None) or make_wall(name="South wall", year_fitted=2015, property=over.pop("property", None))
    if reading is None:
        read_on = None
        over = {"reading_count": 0, "is_untested": True, **over}
    else:
        make_reading(wall=wall, reading=reading, read_on=read_on)
    fields = {
        "model": model,
        "made_at": MOMENT,
        "limit_half_steps": 4,
        "since": date(2015, 7, 1),
        "since_what": "fitted",
        "dose_by_month": [1 / 12] * 12,
        "early_dose": 9.9,
        "middle_dose": 10.96,
        "late_dose": 13.0,
        "early_on": date(2025, 6, 1),
        "middle_on": date(2026, 6, 15),
        "late_on": date(2028, 7, 1),
        "reading_count": 1,
        "last_read_on": read_on,
        **over,
    }
    return WallForecast.objects.create(wall=wall, **fields)


# --- estimates ---


def make_card(**over: Any) -> Any:
    """The common starting values: services, rate card and target, in force long before MOMENT."""
    from pricing.catalogue.services import catalogue_defaults

    return catalogue_defaults(on=over.pop("on", date(2026, 1, 1)))


def make_chalky_house(**over: Any) -> Any:
    """A property with two walls of 1,000 sq ft, one of them chalky, and a chalky garage door of 120 sq ft."""
    place = make_property(storeys=over.pop("storeys", 2), **over)
    make_wall(property=place, name="north wall", area_sqft=1000)
    south = make_wall(property=place, name="south wall", area_sqft=1000)
    door = make_wall(property=place, name="garage door", kind="garage_door", area_sqft=120)
    for wall in (south, door):
        make_reading(wall=wall, reading=3)
    return place


def make_estimate(**over: Any) -> Any:
    """An estimate with three options (wash; and removal; and garage door), not sent; `sent=True` gives it out on paper.

    `place`, `job`, `tax_millionths`, `valid_until`, `now` and `how` may be given.
    """
    from jobs.walkthroughs.selectors.places import place_facts
    from pricing.catalogue.models import Service
    from pricing.estimates.calculation import estimate_reckon
    from pricing.estimates.inputs import DriveFacts
    from pricing.estimates.services import estimate_create
    from pricing.estimates.views.gathering import suggested

    if not Service.objects.filter(code="chalk_removal").exists():
        make_card()
    place = over.get("place") or make_chalky_house()
    job = over.get("job") or make_job(property=place, state="lead", lines=[{"service": _service("house_wash")}])
    now, facts = over.get("now", MOMENT), place_facts(place=place, job=job)
    calculation = estimate_reckon(
        place=facts,
        drive=DriveFacts(20, 9_000, "days", 4, "estimated (great circle)"),
        wanted=suggested(place, facts, None),
        on=now.date(),
        tax_millionths=over.get("tax_millionths"),
    )
    estimate = estimate_create(calculation=calculation, job_ref=job.pk, now=now, valid_until=over.get("valid_until"))
    if over.get("sent") or over.get("how"):
        make_sent(estimate, now=now, how=over.get("how", "paper"))
    return estimate


def make_sent(estimate: Any, **over: Any) -> Any:
    from pricing.estimates.services import estimate_send

    now = over.get("now", MOMENT)
    sent = estimate_send(estimate=estimate, sent_how=over.get("how", "paper"), now=now, today=now.date())
    estimate.refresh_from_db()
    return sent


def _service(code: str) -> Any:
    from pricing.catalogue.models import Service

    return Service.objects.get(code=code)
