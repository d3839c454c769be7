"""Estimates for programs: reckon, list, look at one with its ETag, make, change, send, answer, take back."""

from datetime import timedelta
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.customers.models import Property
from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.models import Job
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import tax_on
from pricing.estimates import services
from pricing.estimates.calculation import Calculation, outlook_json, totals_json
from pricing.estimates.choices import EstimateState, SentBy
from pricing.estimates.errors import EstimateClosed
from pricing.estimates.inputs import EstimateChange, LineChange, OptionChange, WantedLine
from pricing.estimates.models import Estimate, EstimateLine, SentEstimate
from pricing.estimates.selectors import OptionView, estimate_get, estimate_list, option_views, sent_get
from pricing.estimates.views.gathering import make, reckon
from pricing.minutes.choices import AccessLevel, SoilLevel
from shared import clock
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import OfficeOnly
from shared.api_kit.schema import IF_MATCH
from shared.errors import Refused
from shared.web.present import today_here

MOST = 2**31 - 1
MOST_ID = 2**63 - 1
MOST_LINES = 20
LONGEST_DAYS = timedelta(days=366)


class EstimateQuery(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=[*EstimateState.values, "ending", "over"], required=False)
    words = serializers.CharField(required=False, max_length=80, help_text="Parts of names and addresses")


class WantedLineInput(serializers.Serializer[Any]):
    """One service. Without a quantity it is the area of the walls, without walls that of every face."""

    service = serializers.SlugRelatedField(slug_field="code", queryset=Service.objects.filter(is_offered=True))
    quantity = serializers.IntegerField(min_value=1, max_value=1_000_000, required=False, allow_null=True)
    walls = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=MOST_ID), max_length=50, required=False, default=list
    )
    separately = serializers.BooleanField(default=False)


class ReckonInput(serializers.Serializer[Any]):
    property = serializers.PrimaryKeyRelatedField(
        queryset=Property.objects.filter(joined_into__isnull=True).select_related("customer")
    )
    lines = WantedLineInput(many=True)
    options = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField(min_value=0, max_value=19), max_length=20),
        max_length=10,
        required=False,
        help_text="Positions of lines, from 0; left out: what is not separate, then one separate line more each time",
    )
    tax_millionths = serializers.IntegerField(
        min_value=0,
        max_value=999_999,
        required=False,
        allow_null=True,
        help_text="Left out: what the owner entered for this day; null: no tax is reckoned",
    )
    access = serializers.ChoiceField(
        choices=AccessLevel.choices, required=False, help_text="Default: as said of the job, or of the last job here"
    )
    soil = serializers.ChoiceField(choices=SoilLevel.choices, required=False, help_text="Default: the same way")

    def validate_lines(self, lines: list[Any]) -> list[Any]:
        if len(lines) > MOST_LINES:
            raise serializers.ValidationError("At most 20 lines.")
        return lines


class EstimateInput(ReckonInput):
    job = serializers.PrimaryKeyRelatedField(
        queryset=Job.objects.all(), required=False, allow_null=True, help_text="A lead; left out: a new lead is made"
    )
    valid_until = serializers.DateField(required=False, allow_null=True, help_text="Default: thirty days")
    note = serializers.CharField(max_length=1_000, required=False, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("job") and attrs["job"].property_id != attrs["property"].pk:
            raise serializers.ValidationError({"job": "This job is at another property."})
        return attrs


class EstimateLineOutput(serializers.Serializer[EstimateLine]):
    id = serializers.IntegerField()
    position = serializers.IntegerField()
    service = serializers.SlugField(source="service.code")
    quantity = serializers.IntegerField()
    is_addition = serializers.BooleanField()
    walls = serializers.ListField(source="wall_refs", child=serializers.IntegerField())
    minutes = serializers.IntegerField()
    median_minutes = serializers.IntegerField()
    q80_minutes = serializers.IntegerField()
    q90_minutes = serializers.IntegerField()
    minutes_why = serializers.ListField(child=serializers.CharField())
    card_minutes = serializers.IntegerField(allow_null=True)
    card_price_cents = serializers.IntegerField(allow_null=True)
    card_why = serializers.ListField(child=serializers.CharField(), help_text="Card price and materials explained")
    materials_cents = serializers.IntegerField()
    target_price_cents = serializers.IntegerField()
    least_price_cents = serializers.IntegerField()
    price_cents = serializers.IntegerField()
    price_why = serializers.CharField()


class EstimateOptionOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    position = serializers.IntegerField()
    name = serializers.CharField()
    lines = serializers.ListField(child=serializers.IntegerField(), help_text="Ids of the lines")
    discount_cents = serializers.IntegerField()
    before_tax_cents = serializers.IntegerField()
    tax_cents = serializers.IntegerField()
    total_cents = serializers.IntegerField()
    minutes = serializers.IntegerField()
    q80_minutes = serializers.IntegerField()
    q90_minutes = serializers.IntegerField()
    drive_minutes = serializers.IntegerField()
    materials_cents = serializers.IntegerField()
    target_price_cents = serializers.IntegerField()
    least_price_cents = serializers.IntegerField()
    earned_cents_per_crew_hour = serializers.IntegerField(allow_null=True)
    chance = serializers.FloatField(help_text="Of earning the hourly target, 0 to 1")


class EstimateOutput(serializers.Serializer[Estimate]):
    id = serializers.IntegerField()
    job = serializers.IntegerField(source="job_ref")
    property = serializers.IntegerField(source="property_ref")
    customer_name = serializers.CharField()
    place = serializers.CharField()
    state = serializers.ChoiceField(choices=EstimateState.choices)
    revision = serializers.IntegerField(help_text="How often it was sent")
    valid_until = serializers.DateField()
    target_cents_per_crew_hour = serializers.IntegerField()
    reserve_cents_per_crew_hour = serializers.IntegerField()
    drive_basis = serializers.CharField()
    card_from = serializers.DateField(allow_null=True, help_text="First day of the rate card it was made with")
    tax_millionths = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    options = serializers.SerializerMethodField()
    chosen_option = serializers.IntegerField(source="answer.option_position", default=None, allow_null=True)
    version = serializers.IntegerField()

    @extend_schema_field(EstimateOptionOutput(many=True))
    def get_options(self, estimate: Estimate) -> Any:
        return [_option(view) for view in option_views(estimate)]


class EstimateWithLines(EstimateOutput):
    lines = EstimateLineOutput(source="lines.all", many=True)


class LineChangeInput(serializers.Serializer[Any]):
    line = serializers.IntegerField(min_value=1, max_value=MOST_ID)
    minutes = serializers.IntegerField(min_value=1, max_value=6_000, required=False)
    price_cents = serializers.IntegerField(min_value=0, max_value=MOST, required=False)
    materials_cents = serializers.IntegerField(min_value=0, max_value=MOST, required=False)


class OptionChangeInput(serializers.Serializer[Any]):
    option = serializers.IntegerField(min_value=1, max_value=MOST_ID)
    name = serializers.CharField(max_length=80, allow_blank=True, required=False)
    discount_cents = serializers.IntegerField(min_value=0, max_value=MOST, required=False)


class ChangeInput(serializers.Serializer[Any]):
    """What is left out stays as it is."""

    lines = LineChangeInput(many=True, required=False, default=list)
    options = OptionChangeInput(many=True, required=False, default=list)
    drive_minutes = serializers.IntegerField(min_value=0, max_value=1_000, required=False)
    valid_until = serializers.DateField(required=False)
    tax_millionths = serializers.IntegerField(min_value=0, max_value=999_999, required=False, allow_null=True)
    note = serializers.CharField(max_length=1_000, required=False, allow_blank=True)
    reason = serializers.CharField(max_length=200)


class SendInput(serializers.Serializer[Any]):
    how = serializers.ChoiceField(choices=SentBy.choices)


class AnswerInput(serializers.Serializer[Any]):
    """What the customer told the office: an option by its position, or no option for a no."""

    option = serializers.IntegerField(min_value=1, max_value=100, required=False, allow_null=True)
    name = serializers.CharField(max_length=120)
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class TakeBackInput(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class CalculationOutput(serializers.Serializer[Any]):
    on = serializers.DateField()
    property = serializers.IntegerField()
    access = serializers.CharField()
    soil = serializers.CharField()
    card_from = serializers.DateField(allow_null=True)
    target_cents_per_crew_hour = serializers.IntegerField()
    reserve_cents_per_crew_hour = serializers.IntegerField()
    drive_minutes = serializers.IntegerField()
    drive_basis = serializers.CharField()
    tax_millionths = serializers.IntegerField(allow_null=True)
    lines = serializers.ListField(child=serializers.DictField())
    options = serializers.ListField(child=serializers.DictField())


class Estimates(generics.ListAPIView[Estimate]):
    permission_classes = (OfficeOnly,)
    serializer_class = EstimateOutput
    queryset = Estimate.objects.none()

    def get_queryset(self) -> QuerySet[Estimate]:
        query = EstimateQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return estimate_list(**query.validated_data, today=today_here())

    @extend_schema(operation_id="estimate_list", parameters=[EstimateQuery], summary="Estimates, newest first")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="estimate_create",
        request=EstimateInput,
        responses={201: EstimateWithLines},
        summary="Reckon and store an estimate; nothing is sent",
    )
    def post(self, request: Request) -> Response:
        body = EstimateInput(data=request.data)
        body.is_valid(raise_exception=True)
        data = body.validated_data
        valid_until = data.get("valid_until")
        if valid_until and valid_until > today_here() + LONGEST_DAYS:
            raise Refused("An estimate is good for a year at most.", valid_until=valid_until.isoformat())
        row = make(
            data["property"], _calculation(data), job=data.get("job"), actor=request.user, valid_until=valid_until,
            note=data["note"],
        )  # fmt: skip
        return _answer(row.pk, status=201)


@extend_schema(
    operation_id="estimate_reckon", request=ReckonInput, responses=CalculationOutput, summary="Reckon, store nothing"
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def estimate_reckoned(request: Request) -> Response:
    body = ReckonInput(data=request.data)
    body.is_valid(raise_exception=True)
    return Response(_calculation(body.validated_data).as_json())


@extend_schema(operation_id="estimate_get", responses=EstimateWithLines, summary="One estimate, with its ETag")
@api_view(["GET"])
@permission_classes([OfficeOnly])
def estimate(request: Request, estimate_id: int) -> Response:
    return _answer(estimate_id)


@extend_schema(
    operation_id="estimate_change",
    request=ChangeInput,
    responses=EstimateWithLines,
    parameters=[IF_MATCH],
    summary="Set other figures, with the reason",
)
@api_view(["PATCH"])
@permission_classes([OfficeOnly])
def estimate_change(request: Request, estimate_id: int) -> Response:
    row = estimate_get(pk=estimate_id)
    version = expected_version(request, row)
    body = ChangeInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = dict(body.validated_data)
    reason = data.pop("reason")
    lines = [LineChange(line_id=line.pop("line"), **line) for line in map(dict, data.pop("lines"))]
    options = [OptionChange(option_id=option.pop("option"), **option) for option in map(dict, data.pop("options"))]
    change = EstimateChange(lines=lines, options=options, sets_tax="tax_millionths" in data, **data)
    services.estimate_change(
        estimate=row, change=change, reason=reason, today=today_here(), actor=request.user, expected_version=version
    )
    return _answer(estimate_id)


@extend_schema(
    operation_id="estimate_send",
    request=SendInput,
    responses=EstimateWithLines,
    parameters=[IF_MATCH],
    summary="Freeze the estimate and give it out",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def estimate_send(request: Request, estimate_id: int) -> Response:
    row = estimate_get(pk=estimate_id)
    version = expected_version(request, row)
    body = SendInput(data=request.data)
    body.is_valid(raise_exception=True)
    services.estimate_send(
        estimate=row, sent_how=body.validated_data["how"], now=clock.now(), today=today_here(), actor=request.user,
        expected_version=version,
    )  # fmt: skip
    return _answer(estimate_id)


@extend_schema(
    operation_id="estimate_answer",
    request=AnswerInput,
    responses=EstimateWithLines,
    summary="Write down an answer that the customer told the office",
    description="Answers 409 `estimate_closed` where there is an answer already or its last day has passed.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def estimate_answer(request: Request, estimate_id: int) -> Response:
    body = AnswerInput(data=request.data)
    body.is_valid(raise_exception=True)
    data, row = body.validated_data, estimate_get(pk=estimate_id)
    told: dict[str, Any] = {
        "sent": _newest(row),
        "language": row.language,
        "typed_name": data["name"],
        "now": clock.now(),
        "today": today_here(),
        "by_link": False,
        "actor": request.user,
    }
    if data.get("option") is None:
        services.estimate_decline(reason=data["reason"], **told)
    else:
        services.estimate_accept(option=data["option"], **told)
    return _answer(estimate_id)


@extend_schema(
    operation_id="estimate_take_back",
    request=TakeBackInput,
    responses=EstimateWithLines,
    parameters=[IF_MATCH],
    summary="Close an open estimate",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def estimate_take_back(request: Request, estimate_id: int) -> Response:
    row = estimate_get(pk=estimate_id)
    version = expected_version(request, row)
    body = TakeBackInput(data=request.data)
    body.is_valid(raise_exception=True)
    services.estimate_take_back(
        estimate=row, reason=body.validated_data["reason"], actor=request.user, expected_version=version
    )
    return _answer(estimate_id)


def _calculation(data: dict[str, Any]) -> Calculation:
    """Raises Refused for a wall of another property."""
    place: Property = data["property"]
    walls = {wall.wall_ref: wall for wall in place_facts(place=place).walls}
    wanted = []
    for line in data["lines"]:
        if not set(line["walls"]) <= walls.keys():
            raise Refused("A wall of another property cannot be on this estimate.")
        chosen = tuple(walls[ref] for ref in line["walls"])
        wanted.append(WantedLine(line["service"], line.get("quantity"), chosen, line["separately"]))
    return reckon(
        place,
        wanted,
        tax_millionths=data["tax_millionths"] if "tax_millionths" in data else tax_on(on=today_here()),
        options=data.get("options"),
        job=data.get("job"),
        access=data.get("access", ""),
        soil=data.get("soil", ""),
    )


def _newest(row: Estimate) -> SentEstimate:
    newest = row.sendings.first()
    if newest is None:
        raise EstimateClosed("Nobody has seen this estimate yet. Send it first.")
    return sent_get(pk=newest.pk)


def _option(view: OptionView) -> dict[str, Any]:
    return {
        "id": view.option.pk,
        "position": view.option.position,
        "name": view.option.name,
        "lines": [line.pk for line in view.lines],
        **totals_json(view.totals),
        **outlook_json(view.outlook),
    }


def _answer(estimate_id: int, status: int = 200) -> Response:
    """The estimate as it is now in the database."""
    fresh = estimate_get(pk=estimate_id)
    return with_etag(Response(EstimateWithLines(fresh).data, status=status), fresh)


urlpatterns = [
    path("estimates/", Estimates.as_view(), name="api_estimate_list"),
    path("estimates/reckon/", estimate_reckoned, name="api_estimate_reckon"),
    path("estimates/<row:estimate_id>/", estimate, name="api_estimate"),
    path("estimates/<row:estimate_id>/figures/", estimate_change, name="api_estimate_change"),
    path("estimates/<row:estimate_id>/send/", estimate_send, name="api_estimate_send"),
    path("estimates/<row:estimate_id>/answer/", estimate_answer, name="api_estimate_answer"),
    path("estimates/<row:estimate_id>/take-back/", estimate_take_back, name="api_estimate_take_back"),
]
