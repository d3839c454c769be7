"""Jobs for programs: the list, one job with its ETag, a new one, its steps, and what was poured there."""

import uuid
from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.customers.models import Property, Wall
from jobs.mixing.choices import BasisChoice
from jobs.mixing.models import Product
from jobs.walkthroughs.views.access import job_for
from jobs.work import services
from jobs.work.choices import JobState
from jobs.work.inputs import LAST_MINUTE, LineTerms, NewWindow
from jobs.work.met import HouseNotes, MetNote, notes_of_house, pour_warnings
from jobs.work.minutes import USUAL
from jobs.work.models import Job, JobLine, Poured
from jobs.work.selectors import job_get, job_list, line_with_card, poured_list
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import rate_terms
from pricing.minutes.choices import AccessLevel, SoilLevel
from pricing.minutes.selectors import conditions_of
from shared import clock
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import OfficeOnly, SignedIn
from shared.api_kit.schema import IF_MATCH
from shared.company.selectors import company_get
from shared.errors import NotFound

MOST = 2**31 - 1


class JobQuery(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=JobState.choices, required=False)
    words = serializers.CharField(required=False, max_length=80, help_text="Parts of names, streets, the number")


class WindowBody(serializers.Serializer[Any]):
    """Days, and local minutes on them, in which the work may begin. A promise names one day."""

    first_date = serializers.DateField()
    last_date = serializers.DateField()
    start_minute = serializers.IntegerField(min_value=0, max_value=LAST_MINUTE, default=0)
    end_minute = serializers.IntegerField(min_value=0, max_value=LAST_MINUTE, default=LAST_MINUTE)
    promised = serializers.BooleanField(default=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["last_date"] < attrs["first_date"]:
            raise serializers.ValidationError({"last_date": "The last day must not be before the first."})
        if attrs["end_minute"] < attrs["start_minute"]:
            raise serializers.ValidationError({"end_minute": "The window must end after it begins, on the same day."})
        if attrs["promised"] and attrs["first_date"] != attrs["last_date"]:
            raise serializers.ValidationError({"promised": "A promise names one day."})
        return attrs


class LineInput(serializers.Serializer[Any]):
    """One service; minutes and price that are left out come from the rate card, wall area from the property."""

    service = serializers.SlugRelatedField(slug_field="code", queryset=Service.objects.filter(is_offered=True))
    quantity = serializers.IntegerField(min_value=1, max_value=1_000_000, required=False, allow_null=True)
    estimated_minutes = serializers.IntegerField(min_value=1, max_value=6_000, required=False, allow_null=True)
    price_cents = serializers.IntegerField(min_value=0, max_value=MOST, required=False, allow_null=True)


class JobInput(serializers.Serializer[Any]):
    property = serializers.PrimaryKeyRelatedField(queryset=Property.objects.filter(joined_into__isnull=True))
    state = serializers.ChoiceField(choices=JobState.choices, default="lead", help_text="lead, estimated or agreed")
    reference = serializers.CharField(max_length=40, required=False, allow_null=True)
    source = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")  # type: ignore[assignment]
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")
    discount_cents = serializers.IntegerField(min_value=0, max_value=MOST, default=0)
    callback_of = serializers.PrimaryKeyRelatedField(queryset=Job.objects.all(), required=False, allow_null=True)
    lines = LineInput(many=True)
    windows = WindowBody(many=True, required=False, default=[])


class LineOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    service = serializers.SlugField(source="service.code")
    name = serializers.CharField(source="service.name")
    quantity = serializers.IntegerField()
    unit = serializers.CharField(source="service.unit")
    estimated_minutes = serializers.IntegerField()
    price_cents = serializers.IntegerField()


class JobOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    reference = serializers.CharField(allow_null=True)
    state = serializers.ChoiceField(choices=JobState.choices)
    property = serializers.IntegerField(source="property_id")
    address = serializers.CharField(source="property.address")
    customer = serializers.IntegerField(source="property.customer_id")
    customer_name = serializers.CharField(source="property.customer.name")
    lines = LineOutput(source="lines.all", many=True)
    windows = WindowBody(source="windows.all", many=True)
    discount_cents = serializers.IntegerField()
    price_cents = serializers.IntegerField(help_text="Before tax, after the discount")
    callback_of = serializers.IntegerField(source="callback_of_id", allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]
    note = serializers.CharField()
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class ReasonInput(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class DaysInput(serializers.Serializer[Any]):
    windows = WindowBody(many=True)


class ConditionsBody(serializers.Serializer[Any]):
    access = serializers.ChoiceField(choices=AccessLevel.choices)
    soil = serializers.ChoiceField(choices=SoilLevel.choices)


class LineTermsInput(serializers.Serializer[Any]):
    line = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    price_cents = serializers.IntegerField(min_value=0, max_value=MOST)
    estimated_minutes = serializers.IntegerField(min_value=0, max_value=6_000)


class TermsInput(serializers.Serializer[Any]):
    """Lines that are left out stay as they are."""

    lines = LineTermsInput(many=True)
    discount_cents = serializers.IntegerField(min_value=0, max_value=MOST)
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class EntryInput(serializers.Serializer[Any]):
    """An entry of a crew, from a program or a phone's queue. The same key with the same content is stored once."""

    key = serializers.UUIDField(required=False, help_text="made by the caller; default: a new one")
    at = serializers.DateTimeField(required=False, help_text="when it happened; default: now, a week ago at most")


class RinseInput(EntryInput):
    wall = serializers.IntegerField(
        min_value=1, max_value=2**63 - 1, required=False, allow_null=True, help_text="left out: the whole house"
    )


class ConfirmInput(RinseInput):
    at = serializers.DateTimeField(help_text="when it was rinsed, however long ago")
    reason = serializers.CharField(min_length=3, max_length=200, help_text="how it is known")


class PourInput(RinseInput):
    product = serializers.PrimaryKeyRelatedField(queryset=Product.objects.filter(is_active=True))
    basis_points = serializers.IntegerField(min_value=1, max_value=10_000, required=False, allow_null=True)
    basis = serializers.ChoiceField(choices=BasisChoice.choices, required=False, allow_blank=True, default="")
    happened = serializers.BooleanField(
        default=False, help_text="it was poured already: kept in any case; so is what is over ten minutes old"
    )


class StepInput(EntryInput):
    line = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    step = serializers.SlugField(max_length=30)
    is_done = serializers.BooleanField(default=True)


class PouredOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    key = serializers.UUIDField()
    job = serializers.IntegerField(source="job_id")
    wall = serializers.IntegerField(source="wall_id", allow_null=True)
    product = serializers.IntegerField(source="product_id", allow_null=True, help_text="null: a rinse")
    chemistry = serializers.CharField()
    basis_points = serializers.IntegerField(allow_null=True)
    basis = serializers.CharField()
    at = serializers.DateTimeField()
    reason = serializers.CharField(help_text="of a rinse that somebody answers for afterwards: how it is known")


class WrittenOutput(PouredOutput):
    """An entry as it was kept, with what whoever wrote it has to know."""

    warnings = serializers.SerializerMethodField(help_text="What met by it, and what stops the wall now")

    def get_warnings(self, row: Poured) -> list[str]:
        return list(pour_warnings(row=row, now=clock.now(), zone=company_get().timezone))


class MetOutput(serializers.Serializer[MetNote]):
    words = serializers.CharField()
    is_stop = serializers.BooleanField(help_text="Nothing is poured there before a rinse is recorded")
    is_rinsed = serializers.BooleanField()
    at = serializers.DateTimeField(help_text="When the second of the two was poured")
    walls = serializers.SerializerMethodField(help_text="null stands for every wall without an entry of its own")
    entries = serializers.SerializerMethodField(help_text="ids of the two entries")

    def get_walls(self, note: MetNote) -> list[int | None]:
        return sorted(note.wall_ids, key=lambda pk: pk or 0)

    def get_entries(self, note: MetNote) -> list[int]:
        return sorted(note.row_ids)


class HouseNotesOutput(serializers.Serializer[HouseNotes]):
    met = MetOutput(many=True)
    unrinsed = serializers.ListField(child=serializers.CharField())


class StepOutput(serializers.Serializer[Any]):
    key = serializers.UUIDField()
    line = serializers.IntegerField(source="job_line_id")
    step = serializers.CharField()
    is_done = serializers.BooleanField()
    at = serializers.DateTimeField()


class Jobs(generics.ListAPIView[Job]):
    permission_classes = (OfficeOnly,)
    serializer_class = JobOutput
    queryset = Job.objects.none()

    def get_queryset(self) -> QuerySet[Job]:
        query = JobQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return job_list(**query.validated_data)

    @extend_schema(operation_id="job_list", parameters=[JobQuery], summary="Jobs, newest first")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="job_create", request=JobInput, responses={201: JobOutput}, summary="Take down a new job"
    )
    def post(self, request: Request) -> Response:
        body = JobInput(data=request.data)
        body.is_valid(raise_exception=True)
        data = dict(body.validated_data)
        rates = rate_terms(on=clock.local_date(company_get().timezone, clock.now()))
        lines = [_new_line(line, data["property"], rates) for line in data.pop("lines")]
        windows = [NewWindow(**window) for window in data.pop("windows")]
        job = services.job_create(**data, lines=lines, windows=windows, created_at=clock.now(), actor=request.user)
        return _answer(job, status=201)


@extend_schema(operation_id="job_get", responses=JobOutput, summary="One job, with its ETag")
@api_view(["GET"])
@permission_classes([OfficeOnly])
def job(request: Request, job_id: int) -> Response:
    return _answer(job_get(pk=job_id))


@extend_schema(
    operation_id="job_set_days",
    request=DaysInput,
    responses=JobOutput,
    parameters=[IF_MATCH],
    summary="Set the days on which the work may begin",
)
@api_view(["PUT"])
@permission_classes([OfficeOnly])
def job_days(request: Request, job_id: int) -> Response:
    found = job_get(pk=job_id)
    version = expected_version(request, found)
    body = DaysInput(data=request.data)
    body.is_valid(raise_exception=True)
    windows = [NewWindow(**window) for window in body.validated_data["windows"]]
    services.job_windows_set(job=found, windows=windows, actor=request.user, expected_version=version)
    return _answer(found)


@extend_schema(
    operation_id="job_set_terms",
    request=TermsInput,
    responses=JobOutput,
    parameters=[IF_MATCH],
    summary="Agree other prices and minutes on an open job",
)
@api_view(["PUT"])
@permission_classes([OfficeOnly])
def job_terms(request: Request, job_id: int) -> Response:
    found = job_get(pk=job_id)
    version = expected_version(request, found)
    body = TermsInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = body.validated_data
    services.job_terms_set(
        job=found,
        lines=[LineTerms(line["line"], line["price_cents"], line["estimated_minutes"]) for line in data["lines"]],
        discount_cents=data["discount_cents"],
        reason=data["reason"],
        actor=request.user,
        expected_version=version,
    )
    return _answer(found)


@extend_schema(
    methods=["GET"],
    operation_id="job_conditions",
    responses=ConditionsBody,
    summary="Access and soil; usual where nobody said otherwise",
)
@extend_schema(
    methods=["PUT"],
    operation_id="job_set_conditions",
    request=ConditionsBody,
    responses=ConditionsBody,
    summary="Set access and soil of an open job",
    description="Forecasts of its minutes depend on both; agreed prices and minutes stay.",
)
@api_view(["GET", "PUT"])
@permission_classes([OfficeOnly])
def job_conditions(request: Request, job_id: int) -> Response:
    found = job_get(pk=job_id)
    if request.method == "PUT":
        body = ConditionsBody(data=request.data)
        body.is_valid(raise_exception=True)
        services.job_conditions_set(job=found, actor=request.user, **body.validated_data)
    access, soil = conditions_of(job_refs=[found.pk]).get(found.pk, USUAL)
    return Response({"access": str(access), "soil": str(soil)})


def _step(name: str, take: Callable[..., Job], summary: str) -> Any:
    @extend_schema(
        operation_id=f"job_{name}",
        request=ReasonInput,
        responses=JobOutput,
        parameters=[IF_MATCH],
        summary=summary,
        description="Answers 409 `step_refused` where the job's state does not allow it.",
    )
    @api_view(["POST"])
    @permission_classes([OfficeOnly])
    def operation(request: Request, job_id: int) -> Response:
        found = job_get(pk=job_id)
        version = expected_version(request, found)
        body = ReasonInput(data=request.data)
        body.is_valid(raise_exception=True)
        take(job=found, reason=body.validated_data["reason"], actor=request.user, expected_version=version)
        return _answer(found)

    return operation


def _new_line(line: dict[str, Any], place: Property, rates: Any) -> Any:
    return line_with_card(
        service=line["service"],
        place=place,
        rates=rates,
        quantity=line.get("quantity"),
        minutes=line.get("estimated_minutes"),
        price_cents=line.get("price_cents"),
    )


def _answer(job: Job, status: int = 200) -> Response:
    """The job as it is now in the database."""
    fresh = job_get(pk=job.pk)
    return with_etag(Response(JobOutput(fresh).data, status=status), fresh)


@extend_schema(
    operation_id="job_poured", responses=PouredOutput(many=True), summary="What was poured and rinsed, newest first"
)
@api_view(["GET"])
@permission_classes([SignedIn])
def job_poured(request: Request, job_id: int) -> Response:
    found = job_for(user=request.user, job_id=job_id)
    return Response(PouredOutput(poured_list(job_id=found.pk), many=True).data)


@extend_schema(
    operation_id="job_met",
    responses=HouseNotesOutput,
    summary="Products that met at the house of a job, by its record, and what is not rinsed",
    description="Of every job there, newest first. Entries count by when they happened, in whatever order they came.",
)
@api_view(["GET"])
@permission_classes([SignedIn])
def job_met(request: Request, job_id: int) -> Response:
    found = job_for(user=request.user, job_id=job_id)
    notes = notes_of_house(property_id=found.property_id, now=clock.now(), zone=company_get().timezone)
    return Response(HouseNotesOutput(notes).data)


@extend_schema(
    operation_id="job_pour",
    request=PourInput,
    responses=WrittenOutput,
    summary="Write down that a product goes on a wall",
    description="May be repeated. Answers 409 `must_not_meet` where acid or ammonia would meet hypochlorite with no "
    "rinse recorded between them. What was poured already (`happened`, or over ten minutes old) is kept in any case; "
    "`warnings` then say what met.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def job_pour(request: Request, job_id: int) -> Response:
    found, data = _entry(request, job_id, PourInput)
    row = services.product_pour(job=found, actor=request.user, **data)
    return Response(WrittenOutput(row).data)


@extend_schema(
    operation_id="job_rinse", request=RinseInput, responses=WrittenOutput, summary="Write down that a wall was rinsed"
)
@api_view(["POST"])
@permission_classes([SignedIn])
def job_rinse(request: Request, job_id: int) -> Response:
    found, data = _entry(request, job_id, RinseInput)
    return Response(WrittenOutput(services.wall_rinse(job=found, actor=request.user, **data)).data)


@extend_schema(
    operation_id="job_rinse_confirm",
    request=ConfirmInput,
    responses=WrittenOutput,
    summary="Answer for it that a wall was rinsed, though nobody wrote it down then",
    description="Kept with the name of who says so, and counted as a rinse of that time.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def job_rinse_confirm(request: Request, job_id: int) -> Response:
    found, data = _entry(request, job_id, ConfirmInput)
    return Response(WrittenOutput(services.rinse_confirm(job=found, actor=request.user, **data)).data)


@extend_schema(
    operation_id="job_step_mark",
    request=StepInput,
    responses=StepOutput,
    summary="A step of the work instructions was done, or was not after all",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def job_step(request: Request, job_id: int) -> Response:
    found, data = _entry(request, job_id, StepInput)
    line = JobLine.objects.filter(job=found, pk=data.pop("line")).first()
    if line is None:
        raise NotFound("There is no such line on this job.")
    return Response(StepOutput(services.step_mark(job_line=line, actor=request.user, **data)).data)


def _entry(request: Request, job_id: int, body_class: type[EntryInput]) -> tuple[Job, dict[str, Any]]:
    """The job and the entry's fields as the services take them; what waited on a phone may come late."""
    found = job_for(user=request.user, job_id=job_id, late=True)
    body = body_class(data=request.data)
    body.is_valid(raise_exception=True)
    now = clock.now()
    data = {"key": uuid.uuid4(), "at": now, "now": now, **body.validated_data}
    if issubclass(body_class, RinseInput):
        wall_id = data.pop("wall", None)
        data["wall"] = None if wall_id is None else _wall(found, wall_id)
    return found, data


def _wall(job: Job, wall_id: int) -> Wall:
    row = Wall.objects.filter(property=job.property_id, pk=wall_id).first()
    if row is None:
        raise NotFound("There is no such wall at this house.")
    return row


job_estimate = _step("estimate", services.job_estimate, "The customer has been given a price")
job_agree = _step("agree", services.job_agree, "The customer said yes")
job_agree_again = _step("agree_again", services.job_mark_agreed_again, "Put a planned job back, or break it off")
job_decline = _step("decline", services.job_decline, "No job comes of it; needs a reason")
job_call_off = _step("call_off", services.job_call_off, "It will not be done after all; needs a reason")

urlpatterns = [
    path("jobs/", Jobs.as_view(), name="api_job_list"),
    path("jobs/<row:job_id>/", job, name="api_job"),
    path("jobs/<row:job_id>/days/", job_days, name="api_job_days"),
    path("jobs/<row:job_id>/terms/", job_terms, name="api_job_terms"),
    path("jobs/<row:job_id>/conditions/", job_conditions, name="api_job_conditions"),
    path("jobs/<row:job_id>/estimate/", job_estimate, name="api_job_estimate"),
    path("jobs/<row:job_id>/agree/", job_agree, name="api_job_agree"),
    path("jobs/<row:job_id>/agree-again/", job_agree_again, name="api_job_agree_again"),
    path("jobs/<row:job_id>/decline/", job_decline, name="api_job_decline"),
    path("jobs/<row:job_id>/poured/", job_poured, name="api_job_poured"),
    path("jobs/<row:job_id>/pour/", job_pour, name="api_job_pour"),
    path("jobs/<row:job_id>/rinse/", job_rinse, name="api_job_rinse"),
    path("jobs/<row:job_id>/rinse-confirm/", job_rinse_confirm, name="api_job_rinse_confirm"),
    path("jobs/<row:job_id>/met/", job_met, name="api_job_met"),
    path("jobs/<row:job_id>/steps/", job_step, name="api_job_step"),
    path("jobs/<row:job_id>/call-off/", job_call_off, name="api_job_call_off"),
]
