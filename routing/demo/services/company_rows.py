"""The demo company itself as rows: settings, catalogue, people, yard, trucks, crews and shifts."""

from datetime import date, timedelta

from pricing.catalogue.domain.card_rows import CardRow, key_of
from pricing.catalogue.models import Service, Skill
from pricing.catalogue.selectors import card_content, rate_terms
from pricing.catalogue.services import catalogue_defaults, draft_begin, draft_set, tax_set
from pricing.costs.services import bonus_add, worker_terms_set
from pricing.estimates.domain.card import PRICED_UNITS, line_materials_cents
from routing.demo.domain import company
from routing.demo.domain.houses import POSTAL_CODE
from routing.demo.domain.offer import SERVICES, Offer
from routing.demo.domain.town import TOWN_NAME, Town
from routing.demo.domain.wishes import HISTORY_DAYS
from routing.plans.models import Crew, ShiftException, ShiftPattern, Truck, Yard
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.people.models import User
from shared.people.services import NewPerson, person_add, person_set_language

SATURDAY = 5
DEARER_REMOVAL_CENTS = 185_00  # per 100 sq ft
DEARER_WASH_CENTS, DEARER_LEAST_WASH_CENTS = 27_00, 275_00
TAX_MILLIONTHS = 72_500  # of the invented town
DAYS_SINCE_BONUS = 14
BONUS_CENTS = 40_00


def company_store(town: Town) -> Company:
    """Name and settings of the firm."""
    row = company_get()
    row.name, row.timezone = company.COMPANY_NAME, company.TIMEZONE
    row.street, row.city, row.postal_code = f"1 {_yard_street(town)}", TOWN_NAME, POSTAL_CODE
    row.phone_e164, row.email = company.COMPANY_PHONE, company.COMPANY_EMAIL
    row.wage_burden_percent = company.WAGE_BURDEN_PERCENT
    row.full_clean()
    row.save()
    return row


def _yard_street(town: Town) -> str:
    return next(street.name for street in town.streets if street.district == "industry")


def offers_store(*, today: date) -> dict[str, Offer]:
    """The catalogue from the first day of the history on, and the same as the demo's own values."""
    since = today - timedelta(days=HISTORY_DAYS + 60)
    catalogue_defaults(on=since)
    tax_set(name="Sales tax", effective_from=since, rate_millionths=TAX_MILLIONTHS, today=since, actor=None)
    _next_card_begin(today)
    terms = rate_terms(on=today)
    services = Service.objects.filter(code__in=SERVICES).prefetch_related("skills")
    skills = {service.code: frozenset(skill.code for skill in service.skills.all()) for service in services}
    return {
        code: Offer(
            code,
            skills[code],
            terms[code].price_cents_per_100_units,
            terms[code].minimum_price_cents,
            line_materials_cents(terms[code], PRICED_UNITS),
            terms[code].setup_minutes,
            terms[code].units_per_crew_hour,
            terms[code].units_per_crew_hour_high,
        )
        for code in SERVICES
    }


def _next_card_begin(today: date) -> None:
    """A draft of a second card, so that its preview has something to say: removal and washes dearer, three
    surcharges."""
    draft = draft_begin(today=today)
    content = card_content(card=draft)
    removal, wash = content["rate", "chalk_removal"], content["rate", "house_wash"]
    surcharges: list[CardRow] = [
        {"part": "surcharge", "name": "Three storeys", "service": "", "kind": "percent", "figure": 15,
         "when": "storeys", "level": "3"},
        {"part": "surcharge", "name": "Far out", "service": "", "kind": "fixed", "figure": 25_00,
         "when": "driving", "level": "20"},
        {"part": "surcharge", "name": "Tight access", "service": "", "kind": "percent", "figure": 10,
         "when": "access", "level": "tight"},
    ]  # fmt: skip
    dearer: list[CardRow] = [
        {**removal, "price_cents_per_100_units": DEARER_REMOVAL_CENTS},
        {
            **wash,
            "price_cents_per_100_units": DEARER_WASH_CENTS,
            "minimum_price_cents": DEARER_LEAST_WASH_CENTS,
        },
    ]
    changed = content | {key_of(row): row for row in [*dearer, *surcharges]}
    draft_set(draft=draft, content=changed, expected_version=draft.version)


def people_store() -> dict[str, User]:
    """The people who sign in, by user name."""
    return {spec.username: _person(spec) for spec in company.people()}


def _person(spec: company.PersonSpec) -> User:
    new = NewPerson(
        username=spec.username,
        password=spec.password,
        role=spec.role,
        first_name=spec.first_name,
        last_name=spec.last_name,
        email=f"{spec.username}@example.com",
    )
    return person_set_language(person=person_add(new=new, actor=None), language=spec.language)


def crews_store(town: Town, people: dict[str, User], *, today: date) -> Yard:
    """The yard with its trucks, crews and usual hours."""
    latitude, longitude = town.yard
    yard = Yard.objects.create(
        code=company.YARD_CODE,
        name=company.YARD_NAME,
        address=f"1 {_yard_street(town)}, {TOWN_NAME}",
        latitude=latitude,
        longitude=longitude,
        timezone=company.TIMEZONE,
    )
    skills = {skill.code: skill for skill in Skill.objects.all()}
    for number, spec in enumerate(company.CREWS):
        crew = _crew(spec, yard, people[spec.lead.username])
        crew.skills.set(skills[code] for code in spec.skills)
        _members_store(spec, today)
        ShiftPattern.objects.bulk_create(_shifts(spec, crew, late=number < 2))
        if spec.saturdays and today.weekday() == SATURDAY:
            # The company's first planned day is a Monday then, and that is the day its pages should begin with.
            ShiftException.objects.create(crew=crew, work_date=today, is_off=True, reason="rig in the workshop")
    return yard


def _members_store(spec: company.CrewSpec, today: date) -> None:
    for name, cents in spec.members:
        since = today - timedelta(days=spec.since_days)
        worker_terms_set(name=name, effective_from=since, crew_code=spec.code, cents_per_hour=cents)
    first, _cents = spec.members[0]
    earned_on = today - timedelta(days=DAYS_SINCE_BONUS)
    bonus_add(name=first, earned_on=earned_on, cents=BONUS_CENTS, is_promised=True, reason="a month without a callback")


def _crew(spec: company.CrewSpec, yard: Yard, lead: User) -> Crew:
    truck = Truck.objects.create(
        code=f"{spec.code}-1",
        yard=yard,
        mix_litres=spec.mix_litres,
        gear=spec.gear,
        cents_per_km=spec.cents_per_km,
    )
    return Crew.objects.create(
        code=spec.code,
        name=spec.name,
        yard=yard,
        lead=lead,
        truck=truck,
        workers=spec.workers,
        wage_cents_per_hour=spec.wage_cents_per_hour,
        pace_percent=spec.pace_percent,
    )


def _shifts(spec: company.CrewSpec, crew: Crew, *, late: bool) -> list[ShiftPattern]:
    """Monday to Friday; two crews may stay longer, one also comes on Saturday mornings."""
    weekdays = [*range(5), *([SATURDAY] if spec.saturdays else [])]
    return [_shift(crew, weekday, late=late) for weekday in weekdays]


def _shift(crew: Crew, weekday: int, *, late: bool) -> ShiftPattern:
    if weekday == SATURDAY:
        return ShiftPattern(
            crew=crew,
            weekday=weekday,
            start_minute=company.SATURDAY_START,
            end_minute=company.SATURDAY_END,
            break_minutes=0,
            overtime_after_minutes=0,
        )
    return ShiftPattern(
        crew=crew,
        weekday=weekday,
        start_minute=company.SHIFT_START,
        end_minute=company.LATE_SHIFT_END if late else company.SHIFT_END,
        break_minutes=company.BREAK_MINUTES,
        break_from_minute=company.BREAK_FROM,
        break_until_minute=company.BREAK_UNTIL,
        overtime_after_minutes=company.OVERTIME_AFTER_MINUTES,
    )
