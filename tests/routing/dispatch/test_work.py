"""Work instructions and mixes: on the sheets, on the phone, on the truck."""

import io
import json
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.utils import translation
from pypdf import PdfReader

from jobs.mixing.services import direction_set, limits_start
from jobs.walkthroughs.inputs import FindingInput, WallInput
from jobs.work.models import Poured, StepMark
from routing.dispatch.mix_notes import Pour
from routing.dispatch.models import Rig, SentStop
from routing.dispatch.pdf import mix_sheet_pdf, sheet_pdf
from routing.dispatch.selectors.sheets import sheet_of_route
from routing.dispatch.services import plan_send_out, rig_set
from routing.dispatch.sheet import Sheet, SheetLine
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)
GALLON = 3_785


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def truck() -> Any:
    """An injector of 10 : 1, five-gallon jugs, a tank of 100 litres."""
    truck = factories.make_truck(code="T7", mix_litres=100)
    rig_set(truck=truck, drawn_ml=1_000, out_ml=11_000, jug_ml=5 * GALLON, eyewash_ml=7 * GALLON)
    return truck


@pytest.fixture
def crew(crew_lead: Any, truck: Any) -> Any:
    return factories.make_crew(lead=crew_lead, code="A", name="Heron", truck=truck, yard=truck.yard)


@pytest.fixture
def bleach() -> Any:
    """12.5 trade percent that came yesterday."""
    product = factories.make_product(
        name="Stock bleach", dwell_minutes=8, label_words="Follow the table.", data_sheet="binder, sheet 1"
    )
    factories.make_stock(product=product)
    return product


@pytest.fixture
def wash(bleach: Any) -> Any:
    service = factories.make_service(code="wash", name="House wash")
    factories.make_mix(service=service, product=bleach)
    return service


def house(service: Any, **over: Any) -> Any:
    place = factories.make_property(street="14 Elm Street", **over)
    factories.make_wall(property=place, name="south wall")
    factories.make_wall(property=place, name="north wall", old_paint="yes")
    return factories.make_job(property=place, lines=[{"service": service, "quantity": 2_400}])


def planned(crew: Any, *jobs: Any) -> Any:
    return factories.make_planned_day((crew, list(jobs)))


def sheet_of(plan: Any) -> Sheet:
    return sheet_of_route(route_id=plan.routes.get().pk)


def line_of(plan: Any) -> SheetLine:
    return sheet_of(plan).stops[0].lines[0]


def sent_stop(crew: Any, *jobs: Any) -> SentStop:
    plan = planned(crew, *jobs)
    plan_send_out(plan=plan, expected_version=1)
    return SentStop.objects.filter(route__sent__plan=plan).order_by("position")[0]


def text_of(pdf: bytes) -> str:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


# --- mixes ---


def test_a_mix_in_words(crew: Any, wash: Any) -> None:
    """48 gallons at 1 % from 12.45 % (a day at 70 F): 3.85 gallons of stock and 0.51 of water in the jug, in measures
    that a crew has, stock rounded down and water up."""
    (mix,) = line_of(planned(crew, house(wash))).mixes
    assert mix.head == "Stock bleach, 1 % trade at the surface"
    assert mix.pours == (
        Pour("In the jug, for this house", "3 gal 3 qt 12 fl oz", "2 qt 2 fl oz"),
        Pour("A full jug of 5.0 gal", "4 gal 1 qt 20 fl oz", "2 qt 11 fl oz"),
    )
    assert mix.how == (
        "Label: Follow the table.",
        "Dwell by the label: 8 min, never drying",
        "Data sheet: binder, sheet 1",
        "1 part stock to 0.13 parts water; the injector draws 1 part to 10.0 of water and brings at most 1.13 % trade",
        "About 48.0 gal reach the surface, 43.6 gal of it from the house's tap",
        "Stock today: 12.45 % trade, estimated from age and warmth; the delivery of Mon, Jun 1, 2026",
    )
    assert (mix.warnings, mix.footings) == ((), ())


def test_a_limit_that_is_kept(crew: Any, wash: Any) -> None:
    """What the mix brings is said on the limit's own basis, and on what the limit stands."""
    limits_start(today=date(2026, 6, 1))
    sheet = sheet_of(planned(crew, house(wash)))
    (mix,) = sheet.stops[0].lines[0].mixes
    assert "Limit for vinyl 1.3 % hypochlorite by weight, this mix 1.04 %" in mix.how
    assert mix.warnings == ()
    assert sheet.limits[0].startswith("Limit for vinyl 1.3 % hypochlorite by weight: A siding maker's care sheet")


def test_an_injector_that_cannot(crew: Any, bleach: Any) -> None:
    """Said in words, with the most that it can; and a limit with its footing."""
    limits_start(today=date(2026, 6, 1))
    strong = factories.make_service()
    factories.make_mix(service=strong, product=bleach, target_basis_points=180)
    (mix,) = line_of(planned(crew, house(strong))).mixes
    assert mix.warnings[0] == (
        "This injector cannot exceed 1.13 % trade with this stock; 1.8 % was asked for. Let the office decide."
    )
    assert mix.warnings[1].startswith("Stronger than the limit for vinyl, 1.3 % hypochlorite by weight: A siding maker")
    assert not mix.is_stopped


@pytest.mark.parametrize(
    ("stock", "measured", "words"),
    [
        (None, True, "Do not mix: No stock of this product is written down."),
        ({"received_on": date(2025, 1, 1)}, True, "Do not mix: Too old, too cold or too hot for an estimate."),
        ({"basis_points": 90}, True, "Do not mix: The target is not weaker than the stock."),
        ({}, False, "Do not mix: The draw of this truck's injector was not measured."),
    ],
)
def test_hard_stops(crew: Any, stock: dict[str, Any] | None, measured: bool, words: str) -> None:
    """No figures at all where nothing may be mixed, and nothing of it on the truck."""
    mix = factories.make_mix()
    if stock is not None:
        factories.make_stock(product=mix.product, **stock)
    if not measured:
        Rig.objects.all().delete()
    plan = planned(crew, house(mix.service))
    (note,) = line_of(plan).mixes
    assert note.warnings[0].startswith(words)
    assert (note.is_stopped, note.how, note.stock_ml) == (True, (), 0)
    assert sheet_of(plan).mix_totals == ()


def test_what_the_truck_takes(crew: Any, wash: Any, bleach: Any) -> None:
    """Sums of the stops, in jugs; a tank that is too small and packages that may not ride are said."""
    roof = factories.make_service(unit="flat_sqft", skills=[factories.make_skill(code="roof")])
    factories.make_mix(service=roof, product=bleach, way="tank", target_basis_points=400)
    jobs = [house(wash), house(wash), house(roof)]
    totals = sheet_of(planned(crew, *jobs)).mix_totals
    assert totals == (
        "Stock bleach: 23 gal 20 fl oz stock for the day, jugs of 5.0 gal: 5",
        "A full jug of 5.0 gal of Stock bleach, 1 % trade at the surface: 4 gal 1 qt 20 fl oz stock, "
        "then 2 qt 11 fl oz water",
        "Tank: 48.0 gal mixed, more than its 26.4 gal. It must be filled again on the way.",
        "All stops: about 144.0 gal reach the surfaces, 87.3 gal of it from the houses' taps",
    )


def test_jugs_that_may_not_ride(crew: Any, wash: Any) -> None:
    """A 15-gallon drum is outside the exception; too little eyewash water is said."""
    rig_set(truck=crew.truck, jug_ml=15 * GALLON, eyewash_ml=3 * GALLON)
    totals = sheet_of(planned(crew, house(wash))).mix_totals
    assert totals[3].startswith("WARNING: jugs of 15.0 gal are outside the materials-of-trade exception")
    assert totals[4].startswith("Eyewash: at least 6 gal")


def test_a_drum_where_nobody_measured_the_jugs(crew: Any, wash: Any, bleach: Any) -> None:
    """Then the package in which the stock came is what rides."""
    bleach.stocks.update(package_ml=15 * GALLON)
    rig_set(truck=crew.truck, jug_ml=None)
    sheet = sheet_of(planned(crew, house(wash)))
    assert len(sheet.stops[0].lines[0].mixes[0].pours) == 1
    totals = sheet.mix_totals
    assert any(words.startswith("WARNING: jugs of 15.0 gal are outside") for words in totals)


# --- instructions ---


def test_steps_in_the_trades_order(crew: Any, wash: Any) -> None:
    """Wet, test, small sections, dwell, agitate, rinse; in the company's direction."""
    job = house(wash)
    steps = line_of(planned(crew, job)).steps
    assert [step.code for step in steps] == [
        "cover", "prewet", "test", "apply", "dwell", "agitate", "rinse", "plants",
    ]  # fmt: skip
    assert "from the bottom up" in steps[1].words
    assert steps[4].words == "Dwell 8 min by the label; never let it dry"
    direction_set(direction="top_down")
    assert (
        "from the top down"
        in line_of(factories.make_planned_day((crew, [job]), work_date=date(2026, 6, 4))).steps[3].words
    )


def test_findings_in_their_place(crew: Any, wash: Any) -> None:
    """Each where it matters: outlets before the water, chalk and old paint where one would brush."""
    job = house(wash)
    south = job.property.walls.get(name="south wall")
    kinds = ("outlet", "open_window", "broken_panel", "failed_caulk", "loose_paint", "shutters")
    findings = tuple(FindingInput(kind=kind, wall_id=south.pk) for kind in kinds)
    factories.make_walkthrough(job=job, findings=(*findings, FindingInput(kind="other", note="wasps by the door")))
    steps = {step.code: step.notes for step in line_of(planned(crew, job)).steps}
    assert steps["cover"] == (
        "south wall: outlet without a cover, seal it before any water",
        "south wall: window that does not shut, tape it or keep the water away",
    )
    assert steps["apply"] == ("south wall: broken panel, no water behind it",)
    assert steps["rinse"] == ("south wall: failed caulk, no spray into the joint",)
    assert steps["prewet"] == ("house: wasps by the door",)
    assert steps["agitate"] == (
        "south wall: chalk 3 of 5: no brush, no pressure; touching leaves marks",
        "south wall: loose paint, neither brush nor pressure",
        "south wall: oxidised shutters, do not rub",
        "north wall: paint from before 1978: lead-safe practice before any of it is disturbed (40 CFR 745)",
    )


def test_walls_with_the_same_chalk_share_a_line(crew: Any, wash: Any) -> None:
    """A house of five walls that read the same took five lines of a small screen to say one thing."""
    job = house(wash)
    walls = list(job.property.walls.order_by("pk"))
    spots = [WallInput(spots=(Decimal(2),) * 3, wall_id=wall.pk) for wall in walls]
    factories.make_walkthrough(job=job, walls=tuple(spots))
    (steps,) = [step for step in line_of(planned(crew, job)).steps if step.code == "agitate"]
    names = ", ".join(wall.name for wall in walls)
    assert len(walls) > 1
    assert steps.notes[0] == f"{names}: chalk 2 of 5: no brush, no pressure; touching leaves marks"


def test_what_is_of_the_whole_house_matters_to_all_work(crew: Any) -> None:
    """A loose bracket is said to who clears gutters, at the first step, since there is none to wet a wall."""
    gutters = factories.make_service(unit="linear_ft")
    job = house(gutters)
    found = (FindingInput(kind="other", note="loose bracket"), FindingInput(kind="loose_paint"))
    factories.make_walkthrough(job=job, findings=found)
    first, *others = line_of(planned(crew, job)).steps
    assert first.notes == ("house: loose bracket", "house: loose paint, neither brush nor pressure")
    assert not any(step.notes for step in others)


def test_walls_of_the_line_only(crew: Any) -> None:
    """A removal on the north wall says nothing of the south wall's panel, and its steps are those of a removal."""
    removal = factories.make_service(removes_chalk=True)
    job = house(removal)
    north, south = (job.property.walls.get(name=name) for name in ("north wall", "south wall"))
    job.lines.get().walls.set([north])
    factories.make_walkthrough(job=job, findings=(FindingInput(kind="broken_panel", wall_id=south.pk),))
    steps = line_of(planned(crew, job)).steps
    assert [step.code for step in steps][-1] == "look"
    assert not any(note.startswith("south wall") for step in steps for note in step.notes)


@pytest.mark.parametrize(
    ("unit", "skill", "code"),
    [
        ("flat_sqft", "", "drain"),
        ("flat_sqft", "roof", "ladder"),
        ("linear_ft", "ladder", "ladder"),
        ("pane", "", "test"),
    ],
)
def test_other_work_has_its_own_steps(crew: Any, unit: str, skill: str, code: str) -> None:
    skills = [factories.make_skill(code=skill)] if skill else []
    service = factories.make_service(unit=unit, skills=skills)
    assert line_of(planned(crew, house(service))).steps[0].code == code


def test_a_rinse_between_what_must_not_meet(crew: Any, wash: Any) -> None:
    factories.make_mix(
        service=wash,
        position=2,
        product=factories.make_product(chemistry="acid"),
        target_basis="volume",
        way="at_house",
    )
    codes = [step.code for step in line_of(planned(crew, house(wash))).steps]
    assert codes[codes.index("between") + 1] == "rinse"


def test_a_rinse_before_what_must_not_meet_the_line_before(crew: Any, wash: Any) -> None:
    """A house wash with hypochlorite, then an acid cleaner in another line: stop before its first drop."""
    acid = factories.make_service(unit="flat_sqft")
    factories.make_mix(
        service=acid, product=factories.make_product(chemistry="acid"), target_basis="volume", way="at_house"
    )
    place = factories.make_property()
    lines = [{"service": wash, "quantity": 900}, {"service": acid, "quantity": 100}]
    first, second = sheet_of(planned(crew, factories.make_job(property=place, lines=lines))).stops[0].lines
    assert "before" not in [step.code for step in first.steps]
    assert [step.code for step in second.steps][:4] == ["drain", "prewet", "before", "test"]
    assert next(step for step in second.steps if step.code == "before").words.startswith("STOP between hypochlorite")


# --- on paper ---


def test_both_pdfs_say_the_same(crew: Any, wash: Any) -> None:
    job = house(wash, year_built=1950)
    plan = planned(crew, job)
    mixes, route = (text_of(made(sheet_of(plan))) for made in (mix_sheet_pdf, sheet_pdf))
    for text in (mixes, route):
        assert "In the jug, for this house Stock 3 gal 3 qt 12 fl oz Water 2 qt 2 fl oz" in text
        assert "The product label, the safety data sheet, local code and licensed practice come first" in text
        assert "Stock bleach: 3 gal 3 qt 16 fl oz stock for the day, jugs of 5.0 gal: 1" in text
    assert "Test spot: a small place out of sight" in route
    assert "paint from before 1978" in route


def test_in_spanish(crew: Any, wash: Any) -> None:
    plan = planned(crew, house(wash))
    with translation.override("es"):
        text = text_of(mix_sheet_pdf(sheet_of(plan)))
        steps = line_of(plan).steps
    assert "En el bidón, para esta casa Concentrado 3 gal 3 qt 12 oz" in text
    assert steps[6].words.startswith("Enjuague bien, de frente")


def test_the_office_opens_them(client_of: Any, office: Any, crew: Any, wash: Any, assert_query_count: Any) -> None:
    route = planned(crew, house(wash), house(wash)).routes.get()
    client = client_of(office)
    with assert_query_count("mix sheet"):
        page = client.get(f"/sheets/{route.pk}/mix/").content.decode()
    assert "7 gal 2 qt 28 fl oz stock for the day" in page
    assert client.get(f"/sheets/{route.pk}/mix.pdf")["Content-Type"] == "application/pdf"
    assert "mix and steps" in client.get(f"/sheets/{route.pk}/").content.decode()


# --- on the phone ---


@pytest.fixture
def client(client_of: Any, crew_lead: Any) -> Any:
    return client_of(crew_lead)


def test_the_stop_page(client: Any, crew: Any, wash: Any, assert_query_count: Any) -> None:
    """Mixes, steps and walls; a step is pressed and shows its time; pressed again it is open again."""
    stop = sent_stop(crew, house(wash), house(wash))
    address = f"/crew/stops/{stop.pk}/work/"
    with assert_query_count("crew's work instructions"):
        page = client.get(address).content.decode()
    assert "Stock bleach, 1 % trade at the surface" in page
    assert (page.count('href="#poured"'), page.count('href="#rinsed"')) == (1, 1)
    line = stop.job.lines.get()
    for is_done, words in (("true", "done 12:00 pm"), ("", "Test spot")):
        client.post(f"{address}step/", {"line": line.pk, "step": "test", "is_done": is_done})
        page = client.get(address).content.decode()
        assert (words in page, StepMark.objects.latest("id").is_done) == (True, bool(is_done))
    assert "done 12:00 pm" not in page


def test_stop_on_the_phone(client: Any, crew: Any, wash: Any, bleach: Any, noon: Any) -> None:
    """Acid after hypochlorite is refused in words, the page warns before; after the rinse it goes."""
    acid = factories.make_product(chemistry="acid", name="Brightener")
    stop = sent_stop(crew, house(wash))
    wall, address = stop.job.property.walls.get(name="south wall"), f"/crew/stops/{stop.pk}/work/"
    client.post(f"{address}pour/", {"product": bleach.pk, "wall": wall.pk, "basis_points": 100, "basis": "trade"})
    assert "Not rinsed yet: hypochlorite" in client.get(address).content.decode()
    refused = client.post(f"{address}pour/", {"product": acid.pk, "wall": wall.pk}, follow=True).content.decode()
    assert "STOP. Hypochlorite was poured here and no rinse is recorded: with acid it gives poisonous gas." in refused
    assert Poured.objects.count() == 1
    for kind in ("rinse", "pour"):
        noon.shift(60)
        client.post(f"{address}{kind}/", {"product": acid.pk, "wall": wall.pk})
    page = client.get(address).content.decode()
    assert "12:02 pm south wall: Brightener" in page
    assert "12:00 pm south wall: Stock bleach, 1 % trade" in page
    assert Poured.objects.count() == 3


def test_what_met_is_said_everywhere(
    client: Any, client_of: Any, office: Any, crew: Any, wash: Any, bleach: Any, noon: Any
) -> None:
    """Acid on the south wall, then hypochlorite of an hour before comes up: stop, route, sheet, paper and day say so,
    every product is stopped, and what was poured all the same is kept."""
    acid = factories.make_product(chemistry="acid", name="Brightener")
    stop = sent_stop(crew, house(wash))
    plan, wall, address = stop.route.sent.plan, stop.job.property.walls.first(), f"/crew/stops/{stop.pk}/work/"
    client.post(f"{address}pour/", {"product": acid.pk, "wall": wall.pk})
    late = {"product": bleach.pk, "wall": wall.pk, "at": "2026-06-02T15:00:00Z"}
    assert client.post(f"/api/jobs/{stop.job_id}/pour/", late, "application/json").status_code == 200
    words = f"STOP, {wall.name}: by the record hypochlorite (Tue, Jun 2, 2026, 11:00 am) and acid"
    desk, route = client_of(office), plan.routes.get()
    pages = [(client, address), (client, "/crew/"), (desk, f"/sheets/{route.pk}/")]
    pages.append((desk, f"/day/{plan.yard.code}/{plan.work_date.isoformat()}/"))
    for reader, page in pages:
        assert words in reader.get(page).content.decode(), page
    assert words in text_of(sheet_pdf(sheet_of(plan)))
    assert client.get(f"/api/routes/{stop.route_id}/sheet/").json()["stops"][0]["met"][0].startswith(words)
    page = client.get(address).content.decode()
    assert page.count("It was poured already: keep it on record") == 2
    assert "Stopped: rinse first" in page
    noon.shift(60)
    answer = client.post(f"{address}pour/", {"product": bleach.pk, "wall": wall.pk, "happened": "true"}, follow=True)
    assert words in answer.content.decode()
    assert Poured.objects.count() == 3
    noon.shift(60)
    client.post(f"{address}rinse/", {"wall": wall.pk})
    page = client.get(address).content.decode()
    assert ("STOP, " in page, "Stopped: " in page) == (False, False)


def test_the_crew_answers_for_a_rinse(client: Any, crew: Any, wash: Any, bleach: Any, noon: Any) -> None:
    """With day, time and how it is known; without them nothing is written."""
    stop = sent_stop(crew, house(wash))
    address = f"/crew/stops/{stop.pk}/work/"
    client.post(f"{address}pour/", {"product": bleach.pk})
    assert "Rinsed earlier, and nobody wrote it down" in client.get(address).content.decode()
    noon.shift(3_600)
    body = {"day": "2026-06-02", "clock": "12:30", "reason": "I did it before lunch"}
    for over in ({"clock": ""}, {"reason": ""}, {"day": "soon"}, {"wall": "x"}):
        answer = client.post(f"{address}confirm/", body | over, follow=True).content.decode()
        assert "Say on which day and at what time it was rinsed" in answer
    assert Poured.objects.count() == 1
    page = client.post(f"{address}confirm/", body, follow=True).content.decode()
    assert "12:30 pm whole house: rinsed, confirmed afterwards: I did it before lunch" in page
    assert "Not rinsed yet" not in page


def test_nonsense_is_refused(client: Any, crew: Any, wash: Any) -> None:
    """Other lines, walls and products, and kinds that do not exist: said, nothing written."""
    stop = sent_stop(crew, house(wash))
    address, other = f"/crew/stops/{stop.pk}/work/", factories.make_job()
    for kind, body in (
        ("step", {"line": other.lines.get().pk, "step": "test"}),
        ("step", {"line": "x", "step": "test"}),
        ("pour", {"product": 999_999}),
        ("pour", {}),
        ("rinse", {"wall": factories.make_wall().pk}),
        ("rinse", {"wall": "x"}),
    ):
        assert client.post(f"{address}{kind}/", body).status_code == 302, kind
    assert client.post(f"{address}fly/", {}).status_code == 404
    assert (Poured.objects.count(), StepMark.objects.count()) == (0, 0)


def test_another_crews_stop(client_of: Any, crew: Any, wash: Any) -> None:
    stop = sent_stop(crew, house(wash))
    stranger = client_of(factories.make_user(role="crew_lead"))
    assert stranger.get(f"/crew/stops/{stop.pk}/work/").status_code == 404
    assert stranger.post(f"/crew/stops/{stop.pk}/work/rinse/", {}).status_code == 404
    assert stranger.get(f"/crew/routes/{stop.route_id}/mix.pdf").status_code == 404


# --- trucks and sums ---


def test_a_truck_is_measured(client_of: Any, office: Any, crew: Any, assert_query_count: Any) -> None:
    client = client_of(office)
    with assert_query_count("trucks"):
        assert "0.26 gal in 2.9 gal" in client.get("/trucks/").content.decode()
    body = {"drawn_ml": "0.5", "out_ml": "5", "jug_ml": "5", "eyewash_ml": "6", "measured_on": "2026-06-01"}
    assert client.post("/trucks/T7/", body).status_code == 302
    rig = Rig.objects.get()
    assert (rig.drawn_ml, rig.out_ml) == (1_893, 18_927)
    wrong = client.post("/trucks/T7/", body | {"out_ml": "0.4"})
    assert (wrong.status_code, "More must leave the hose" in wrong.content.decode()) == (422, True)
    client.post("/trucks/T7/", body | {"flow_ml_per_minute": "5", "pressure_psi": "2500"})
    page = client.get("/trucks/").content.decode()
    assert "size 6.5 for 5.0 gal a minute at 2500 psi" in page
    assert "26.4 gal" in page
    assert client.get("/trucks/none/").status_code == 404


@pytest.mark.parametrize("value", ["-1", "0", "NaN", "1e9", "inf", "x"])
def test_no_truck_is_measured_with(client_of: Any, office: Any, crew: Any, value: str) -> None:
    before = Rig.objects.values().get()
    for name in ("drawn_ml", "out_ml", "flow_ml_per_minute", "pressure_psi", "jug_ml", "eyewash_ml"):
        answer = client_of(office).post("/trucks/T7/", {"drawn_ml": "0.5", "out_ml": "5"} | {name: value})
        assert (answer.status_code, f'value="{value}"' in answer.content.decode()) == (422, True), name
    assert Rig.objects.values().get() == before


def test_the_mix_sheet_by_command(crew: Any, wash: Any, tmp_path: Any) -> None:
    plan = planned(crew, house(wash))
    day = ["--yard", plan.yard.code, "--date", plan.work_date.isoformat()]

    def out_of(*arguments: str) -> str:
        out = io.StringIO()
        call_command("mix_sheet", *arguments, stdout=out)
        return out.getvalue()

    assert "In the jug, for this house: 3 gal 3 qt 12 fl oz stock, 2 qt 2 fl oz water" in out_of("A", *day)
    assert json.loads(out_of("A", *day, "--json"))["stops"][0]["mixes"][0]["stock_ml"] > 14_000
    out_of("A", *day, "--pdf", str(tmp_path / "mix.pdf"))
    assert "3 gal 3 qt 12 fl oz" in text_of((tmp_path / "mix.pdf").read_bytes())
    with pytest.raises(CommandError, match="No route of crew Z is planned"):
        out_of("Z", *day)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"powder_powder": "35", "powder_target": "0.5", "powder_gallons": "1"}, "1.9 oz (54 g) of powder by weight"),
        ({"powder_powder": "35", "powder_target": "35", "powder_gallons": "1"}, "No mix can be stronger"),
        ({"thunder_seconds": "30"}, "It struck 6.0 miles away. Stop now; if that was the last thunder, go on at 12:30"),
        ({"nozzle_flow": "5", "nozzle_psi": "2500"}, "Number 6.32: take size 6.5"),
        ({"heat_f": "96", "heat_humidity": "65"}, "Feels like 121 F in the shade, up to 136 F in full sun (very high"),
        ({"heat_f": "96", "heat_humidity": "650"}, "Humidity, %: a number from 0 to 100."),
        ({"ladder_length": "20"}, "Foot 5.0 ft out from the wall; it then reaches 19.4 ft up."),
        ({"line_kv": "115"}, "12 ft 2 in away"),
        ({"line_kv": "79.9"}, "11 ft 0 in away"),
        ({"line_kv": "nan"}, "Line, kilovolts: a number from 0 to 1000."),
    ],
)  # fmt: skip
def test_sums(client: Any, query: dict[str, str], words: str) -> None:
    """Each answers in a sentence, or says what is wrong."""
    assert words in client.get("/crew/reckon/", query).content.decode()


MIX = {"mix-stock": "12.5", "mix-stock_basis": "trade", "mix-target": "1", "mix-volume": "50"}


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({}, ["4 gal", "46 gal", "1 part stock to 11.5 parts water; 50.0 gal in all", "12.5 % trade"]),
        ({"mix-age_days": "30", "mix-storage_f": "70"}, ["11.11 % trade", "4 gal 2 qt"]),
        (
            {"mix-target": "1.3", "mix-drawn": "0.5", "mix-out": "5.5"},
            ["This injector cannot exceed 1.14 % trade with this stock; 1.3 % was asked for."],
        ),
        (
            {"mix-target": "1", "mix-target_basis": "hypochlorite_weight", "mix-gravity": "1.16"},
            ["3 gal 3 qt 12 fl oz"],
        ),
        ({"mix-surface": "vinyl"}, ["Limit for vinyl 1.3 % hypochlorite by weight, this mix 1.05 %"]),
        ({"mix-surface": "vinyl", "mix-target": "1.3"}, ["Stronger than the limit for vinyl", "A siding maker"]),
        ({"mix-stock": "1"}, ["No mix can be stronger than its stock"]),
        ({"mix-stock_basis": "hypochlorite_weight"}, ["needs the specific gravity"]),
        ({"mix-stock_basis": ""}, ["This field is required."]),
        ({"mix-drawn": "0.5"}, ["injector"]),
        ({"mix-age_days": "400"}, ["Too old, too cold or too hot"]),
        ({"mix-stock": "200"}, ["less than or equal to 100"]),
        ({"mix-stock": "NaN"}, ["Enter a number."]),
        ({"mix-volume": "-1"}, ["greater than or equal to 0.01"]),
        ({"mix-storage_f": "0"}, ["greater than or equal to 32"]),
    ],
)
def test_a_mix_from_figures(client: Any, over: dict[str, str], words: list[str]) -> None:
    """With basis, age and warmth, by batch or injector, against the owner's limit; refused in words, nothing lost."""
    limits_start(today=date(2026, 6, 1))
    page = client.get("/crew/reckon/", MIX | over).content.decode()
    assert all(part in page for part in words)
    typed = (MIX | over)["mix-stock"]
    assert f'value="{typed}"' in page


def test_trucks_by_program(client_of: Any, office: Any, crew: Any) -> None:
    """Measured anew in part; what was not said stays."""
    client = client_of(office)
    answer = client.put("/api/trucks/T7/rig/", {"jug_ml": 9_000}, "application/json").json()
    assert (answer["rig"]["jug_ml"], answer["rig"]["drawn_ml"]) == (9_000, 1_000)
    wrong = client.put("/api/trucks/T7/rig/", {"out_ml": 10}, "application/json")
    assert wrong.status_code == 400
    assert client.get("/api/trucks/").json()["results"][0]["mix_litres"] == 100
