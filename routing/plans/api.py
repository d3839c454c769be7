"""Day plans for programs: read, plan in the background, change by hand under If-Match."""

from typing import Any

from django.conf import settings
from django.shortcuts import get_object_or_404
from django.urls import path, reverse
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from routing.plans import services
from routing.plans.choices import ChangeKind, CrewNews, LeftOutReason, PlanObjective, PlanState, RunState
from routing.plans.models import MOST_SECONDS, DayPlan, LearntDrive, LearntPacking, PlanRun, WeekPlan, Yard
from routing.plans.selectors import day_plan_by_id, day_plan_list, plan_as_json, yard_by_code
from routing.plans.selectors.learning import yard_drives
from routing.plans.selectors.moves import moves_since_sent
from routing.plans.selectors.stock import day_stock_needs
from routing.plans.selectors.ways import routes_geojson
from routing.plans.selectors.weeks import week_plan_by_id
from routing.plans.services.learning import learnt_drives_use
from routing.solver.plan import FILE_STATUSES, LEFT_OUT_REASONS
from shared import clock
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import OfficeOnly
from shared.api_kit.schema import IF_MATCH

GREATEST_ID = 2**63 - 1
GEOJSON = "application/geo+json"


class DayPlanLine(serializers.ModelSerializer[DayPlan]):
    """A plan in a list."""

    yard = serializers.SlugField(source="yard.code")
    status = serializers.CharField(source="plan.status", help_text="optimal, feasible or infeasible")

    class Meta:
        model = DayPlan
        fields = (
            "id",
            "yard",
            "work_date",
            "version",
            "state",
            "status",
            "value_cents",
            "upper_bound_cents",
            "drive_source",
            "inputs_digest",
            "solved_at",
            "changed_at",
        )


class BreakOutput(serializers.Serializer[Any]):
    start = serializers.IntegerField()


class PlannedStopOutput(serializers.Serializer[Any]):
    job = serializers.CharField(help_text="J and the job's id")
    arrive = serializers.IntegerField(help_text="Real minutes after the yard's local midnight, as all times here")
    start = serializers.IntegerField()
    finish = serializers.IntegerField()


class PlannedRouteOutput(serializers.Serializer[Any]):
    crew = serializers.CharField(help_text="The crew's code")
    leave = serializers.IntegerField()
    back = serializers.IntegerField()
    drive_minutes = serializers.IntegerField()
    drive_metres = serializers.IntegerField()
    paid_minutes = serializers.IntegerField()
    value_cents = serializers.FloatField()
    stops = PlannedStopOutput(many=True)


# The name of this field is a word of the language and cannot be written in the class.
PlannedRouteOutput._declared_fields["break"] = BreakOutput(required=False, help_text="Where one is due")


class PlanLeftOutOutput(serializers.Serializer[Any]):
    job = serializers.CharField()
    reason = serializers.ChoiceField(choices=list(LEFT_OUT_REASONS))
    price_to_place_cents = serializers.IntegerField(allow_null=True)
    price_is_exact = serializers.BooleanField(
        required=False, help_text="Whether this rise places the job; else no smaller one does"
    )
    note = serializers.CharField(required=False, help_text="taken_out where a person decided it")


class NotInProblemOutput(serializers.Serializer[Any]):
    job = serializers.CharField()
    reason = serializers.ChoiceField(choices=LeftOutReason.choices)
    note = serializers.CharField(allow_blank=True)


class OtherPlanOutput(serializers.Serializer[Any]):
    value_cents = serializers.FloatField()
    cents_per_crew_hour = serializers.FloatField()
    profit_cents = serializers.FloatField()
    paid_minutes = serializers.IntegerField()


class BestRatioOutput(serializers.Serializer[Any]):
    cents_per_crew_hour = serializers.FloatField(help_text="Profit (no reserve) per paid hour of all crews")
    upper_bound_cents_per_crew_hour = serializers.FloatField(allow_null=True)
    proved = serializers.BooleanField()
    profit_cents = serializers.FloatField()
    paid_minutes = serializers.IntegerField()
    passes = serializers.IntegerField()
    most_value = OtherPlanOutput(help_text="The plan of most value found in the same run")


class DayPlanOutput(serializers.Serializer[Any]):
    """day-plan/1 and, after it, what the product adds."""

    format = serializers.CharField(help_text="day-plan/1")
    status = serializers.ChoiceField(choices=FILE_STATUSES)
    value_cents = serializers.FloatField()
    upper_bound_cents = serializers.FloatField(help_text="No plan that keeps the rules is worth more")
    gap = serializers.FloatField()
    routes = PlannedRouteOutput(many=True)
    left_out = PlanLeftOutOutput(many=True)
    crew_hour_worth_cents = serializers.IntegerField(allow_null=True)
    seconds = serializers.FloatField()
    solver = serializers.DictField()
    reasons = serializers.ListField(
        child=serializers.CharField(), required=False, help_text="Why promises cannot be kept; with infeasible only"
    )
    best_ratio = BestRatioOutput(required=False, help_text="Only where the plan was made for the best ratio")
    id = serializers.IntegerField()
    yard = serializers.SlugField()
    work_date = serializers.DateField()
    version = serializers.IntegerField()
    state = serializers.ChoiceField(choices=PlanState.choices)
    drive_source = serializers.CharField(help_text="Where the drive times came from")
    inputs_digest = serializers.CharField(help_text="SHA-256 of the problem")
    solved_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()
    notices = serializers.ListField(child=serializers.CharField())
    not_in_problem = NotInProblemOutput(many=True)


class PlanRunOutput(serializers.ModelSerializer[PlanRun]):
    yard = serializers.SlugField(source="yard.code")
    state = serializers.ChoiceField(choices=RunState.choices)

    class Meta:
        model = PlanRun
        fields = (
            "id",
            "yard",
            "work_date",
            "state",
            "seconds_allowed",
            "seed",
            "objective",
            "created_at",
            "started_at",
            "finished_at",
            "inputs_digest",
            "value_cents",
            "upper_bound_cents",
            "problem_text",
        )


class DayPlanQuery(serializers.Serializer[Any]):
    yard = serializers.SlugField(required=False, max_length=20, default="")
    work_date = serializers.DateField(required=False, default=None)


class PlanRunInput(serializers.Serializer[Any]):
    yard = serializers.SlugField(max_length=20, help_text="The yard's code")
    work_date = serializers.DateField()
    seconds = serializers.IntegerField(min_value=1, max_value=MOST_SECONDS, required=False)
    seed = serializers.IntegerField(min_value=0, max_value=2**31 - 1, required=False, default=1)
    objective = serializers.ChoiceField(
        choices=PlanObjective.choices,
        required=False,
        default=PlanObjective.VALUE,
        help_text="value: the most money for the day; ratio: the most profit per paid crew-hour",
    )


class ChangeInput(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=ChangeKind.choices)
    job = serializers.IntegerField(min_value=1, max_value=GREATEST_ID, help_text="The job's id, without the J")
    crew = serializers.SlugField(required=False, max_length=20, default="", help_text="For move and put_in")
    position = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=10_000, default=None, help_text="From 1; default: last"
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["kind"] in (ChangeKind.MOVE, ChangeKind.PUT_IN) and not attrs["crew"]:
            raise serializers.ValidationError({"crew": _("Name the crew that gets the stop.")})
        return attrs


class CrewNewsInput(serializers.Serializer[Any]):
    crew = serializers.SlugField(max_length=20, help_text="The crew's code")
    kind = serializers.ChoiceField(choices=CrewNews.choices)
    at = serializers.TimeField(help_text="By the clock at the yard, such as 10:00")
    reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=120)


class MoveOutput(serializers.Serializer[Any]):
    """A stop that is not as it was told when the plan was sent out."""

    job = serializers.CharField(source="move.job")
    must_be_called = serializers.BooleanField(help_text="Left out, or begins more than half an hour from what was told")
    crew_before = serializers.CharField(source="move.before.crew")
    start_before = serializers.IntegerField(source="move.before.start")
    crew = serializers.CharField(source="move.now.crew", default=None, allow_null=True)
    start = serializers.IntegerField(source="move.now.start", default=None, allow_null=True)
    who = serializers.CharField(help_text="Street, customer and telephone")
    words = serializers.CharField()


class ReplanOutput(DayPlanOutput):
    moves = MoveOutput(many=True)


class DayPlanReplans(APIView):
    permission_classes = [OfficeOnly]

    @extend_schema(
        operation_id="day_plan_replan",
        summary="A crew drops out or starts late: plan the rest of the day again at once",
        description="Answers within about two seconds. What is done or under way stays; `moves` says what is not as it "
        "was sent out, and who must be called.",
        parameters=[OpenApiParameter("plan_id", int, OpenApiParameter.PATH), IF_MATCH],
        request=CrewNewsInput,
        responses=ReplanOutput,
    )
    def post(self, request: Request, plan_id: int) -> Response:
        version = expected_version(request, day_plan_by_id(plan_id=plan_id))
        body = CrewNewsInput(data=request.data)
        body.is_valid(raise_exception=True)
        data = body.validated_data
        news = services.News(data["crew"], data["kind"], data["at"], data["reason"])
        plan = services.day_replan(plan_id=plan_id, news=news, expected_version=version, actor=request.user)
        moves = MoveOutput(moves_since_sent(plan), many=True).data
        return with_etag(Response({**plan_as_json(plan), "moves": moves}), plan)


class DayPlans(ListAPIView[DayPlan]):
    permission_classes = [OfficeOnly]
    serializer_class = DayPlanLine

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return DayPlan.objects.none()
        query = DayPlanQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return day_plan_list(yard_code=query.validated_data["yard"], work_date=query.validated_data["work_date"])

    @extend_schema(operation_id="day_plan_list", summary="Day plans, the latest day first", parameters=[DayPlanQuery])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="day_plan_make",
        summary="Plan a day in the background",
        description="Answers with the run; poll its Location. 409 `already_planning` while another run is unfinished.",
        request=PlanRunInput,
        responses={202: PlanRunOutput},
    )
    def post(self, request: Request) -> Response:
        body = PlanRunInput(data=request.data)
        body.is_valid(raise_exception=True)
        data = body.validated_data
        run = services.plan_run_request(
            yard=yard_by_code(code=data["yard"]),
            work_date=data["work_date"],
            seconds=data.get("seconds", settings.WALLDAY_PLAN_SECONDS),
            seed=data["seed"],
            objective=data["objective"],
            actor=request.user,
        )
        run.refresh_from_db()
        location = reverse("api_plan_run", args=[run.pk])
        return Response(PlanRunOutput(run).data, status=202, headers={"Location": location})


@extend_schema(
    operation_id="plan_run_get",
    summary="How far a planning run is",
    parameters=[OpenApiParameter("run_id", int, OpenApiParameter.PATH)],
    responses=PlanRunOutput,
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def plan_run(request: Request, run_id: int) -> Response:
    return Response(PlanRunOutput(get_object_or_404(PlanRun.objects.select_related("yard"), pk=run_id)).data)


@extend_schema(
    operation_id="day_plan_get",
    summary="A day plan as day-plan/1, with its ETag",
    parameters=[OpenApiParameter("plan_id", int, OpenApiParameter.PATH)],
    responses=DayPlanOutput,
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def day_plan(request: Request, plan_id: int) -> Response:
    plan = day_plan_by_id(plan_id=plan_id)
    services.replan_get_ready(plan=plan, now=clock.now())
    return with_etag(Response(plan_as_json(plan)), plan)


class DayPlanChanges(APIView):
    permission_classes = [OfficeOnly]

    @extend_schema(
        operation_id="day_plan_change",
        summary="Change a day plan by hand",
        description="422 `broken_rule` says in words which rule the change breaks; nothing is saved then.",
        parameters=[OpenApiParameter("plan_id", int, OpenApiParameter.PATH), IF_MATCH],
        request=ChangeInput,
        responses=DayPlanOutput,
    )
    def post(self, request: Request, plan_id: int) -> Response:
        version = expected_version(request, day_plan_by_id(plan_id=plan_id))
        body = ChangeInput(data=request.data)
        body.is_valid(raise_exception=True)
        data = body.validated_data
        plan = services.plan_change(
            plan_id=plan_id,
            kind=data["kind"],
            job_id=data["job"],
            crew_code=data["crew"],
            position=data["position"],
            expected_version=version,
            actor=request.user,
        )
        return with_etag(Response(plan_as_json(plan)), plan)


class WeekPlanOutput(serializers.ModelSerializer[WeekPlan]):
    """A proposal for a week. Crews in `plan` are crew-days such as "east-2026-06-03"."""

    yard = serializers.SlugField(source="yard.code")
    days = serializers.ListField(child=serializers.DateField(), help_text="The days that were open")
    notices = serializers.ListField(
        child=serializers.CharField(), help_text="What could not be planned or driven, and why, in words"
    )
    plan = serializers.JSONField(allow_null=True, help_text="day-plan/1; minutes from midnight of the first open day")

    class Meta:
        model = WeekPlan
        fields = (
            "id",
            "yard",
            "first_day",
            "days",
            "state",
            "seconds_allowed",
            "created_at",
            "finished_at",
            "taken_over_at",
            "value_cents",
            "upper_bound_cents",
            "problem_text",
            "drive_source",
            "notices",
            "plan",
        )


class WeekPlanInput(serializers.Serializer[Any]):
    yard = serializers.SlugField(max_length=20, help_text="The yard's code")
    day = serializers.DateField(help_text="Any day of the week, Monday to Sunday")
    seconds = serializers.IntegerField(min_value=1, max_value=MOST_SECONDS, required=False)


@extend_schema(
    operation_id="week_plan_make",
    summary="Plan a week in the background",
    description="Answers with the proposal's row; poll its Location. Nothing of the days changes.",
    request=WeekPlanInput,
    responses={202: WeekPlanOutput},
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def week_plans(request: Request) -> Response:
    body = WeekPlanInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = body.validated_data
    week = services.week_plan_request(
        yard=yard_by_code(code=data["yard"]),
        day=data["day"],
        seconds=data.get("seconds", 2 * settings.WALLDAY_PLAN_SECONDS),
        actor=request.user,
    )
    week.refresh_from_db()
    return Response(WeekPlanOutput(week).data, status=202, headers={"Location": _week_url(week)})


@extend_schema(
    operation_id="week_plan_get",
    summary="A week's proposal, or how far it is",
    parameters=[OpenApiParameter("week_id", int, OpenApiParameter.PATH)],
    responses=WeekPlanOutput,
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def week_plan(request: Request, week_id: int) -> Response:
    return Response(WeekPlanOutput(week_plan_by_id(week_id=week_id)).data)


@extend_schema(
    operation_id="day_plan_map",
    summary="The routes of a plan along the streets, as GeoJSON",
    description="RFC 7946: a MultiLineString for each route, a line for each drive in order, out from the yard and "
    "back to it. `estimated` counts drives that no road is known for; they are straight. "
    "`drives` holds the turns of each drive: turn, street, metres to follow it, exit of a roundabout, heading in "
    "degrees at the start. Map data © OpenStreetMap "
    "contributors, ODbL.",
    parameters=[OpenApiParameter("plan_id", int, OpenApiParameter.PATH)],
    responses={(200, GEOJSON): OpenApiTypes.OBJECT},
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def day_plan_map(request: Request, plan_id: int) -> Response:
    return Response(routes_geojson(day_plan_by_id(plan_id=plan_id)), content_type=GEOJSON)


class LearntDriveOutput(serializers.ModelSerializer[LearntDrive]):
    class Meta:
        model = LearntDrive
        fields = (
            "hours",
            "from_minute",
            "trips",
            "factor_percent",
            "median_percent",
            "low_percent",
            "high_percent",
            "fitted_at",
        )


class LearntPackingOutput(serializers.ModelSerializer[LearntPacking]):
    """The part of each drive from a stop that does not grow with the road: packing up, parking."""

    class Meta:
        model = LearntPacking
        fields = ("trips", "minutes", "low_minutes", "high_minutes", "fitted_at")


class YardDrivesOutput(serializers.Serializer[Any]):
    yard = serializers.SlugField(source="yard.code")
    packing = LearntPackingOutput(allow_null=True)
    used = serializers.BooleanField(source="yard.uses_learnt_drives", help_text="Whether new plans use the factors")
    hours = LearntDriveOutput(source="rows", many=True)


class UseInput(serializers.Serializer[Any]):
    used = serializers.BooleanField()


class LearntDrives(APIView):
    """The owner's: how long drives really took, and whether plans use it."""

    @extend_schema(
        operation_id="learnt_drives",
        summary="How long drives really took, by hours with like traffic",
        responses=YardDrivesOutput,
    )
    def get(self, request: Request, yard_code: str) -> Response:
        return _drives_of(yard_by_code(code=yard_code))

    @extend_schema(
        operation_id="learnt_drives_use",
        summary="Have new plans of a yard use what was learnt, or not",
        request=UseInput,
        responses=YardDrivesOutput,
    )
    def put(self, request: Request, yard_code: str) -> Response:
        body = UseInput(data=request.data)
        body.is_valid(raise_exception=True)
        use = body.validated_data["used"]
        return _drives_of(learnt_drives_use(yard=yard_by_code(code=yard_code), use=use, actor=request.user))


def _drives_of(yard: Yard) -> Response:
    return Response(YardDrivesOutput(yard_drives([yard])[0]).data)


@extend_schema(
    operation_id="week_plan_take_over",
    summary="Make the proposed days into day plans, all of them or none",
    parameters=[OpenApiParameter("week_id", int, OpenApiParameter.PATH)],
    request=None,
    responses={202: WeekPlanOutput},
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def week_plan_take_over(request: Request, week_id: int) -> Response:
    week = services.week_take_over_request(week_id=week_plan_by_id(week_id=week_id).pk, actor=request.user)
    return Response(WeekPlanOutput(week).data, status=202, headers={"Location": _week_url(week)})


def _week_url(week: WeekPlan) -> str:
    return reverse("api_week_plan", args=[week.pk])


class StockNeedOutput(serializers.Serializer[Any]):
    product = serializers.IntegerField(source="at_hand.product.pk")
    name = serializers.CharField(source="at_hand.product.name")
    needed_ml = serializers.IntegerField(help_text="Of stock, by the mixes of the stops that are not over")
    left_ml = serializers.IntegerField(source="at_hand.left_ml", help_text="At hand, as reckoned")
    is_short = serializers.BooleanField()
    words = serializers.CharField()


@extend_schema(
    operation_id="day_plan_stock",
    parameters=[OpenApiParameter("plan_id", int, OpenApiParameter.PATH)],
    responses=StockNeedOutput(many=True),
    summary="What a planned day takes of each product beside what is at hand",
    description="Of products with an open delivery; empty for a day that has passed.",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def day_plan_stock(request: Request, plan_id: int) -> Response:
    plan = day_plan_by_id(plan_id=plan_id)
    return Response(StockNeedOutput(day_stock_needs(plan, now=clock.now()), many=True).data)


urlpatterns = [
    path("day-plans/", DayPlans.as_view(), name="api_day_plans"),
    path("day-plans/<row:plan_id>/", day_plan, name="api_day_plan"),
    path("day-plans/<row:plan_id>/stock/", day_plan_stock, name="api_day_plan_stock"),
    path("day-plans/<row:plan_id>/map/", day_plan_map, name="api_day_plan_map"),
    path("day-plans/<row:plan_id>/changes/", DayPlanChanges.as_view(), name="api_day_plan_changes"),
    path("day-plans/<row:plan_id>/replans/", DayPlanReplans.as_view(), name="api_day_plan_replans"),
    path("yards/<slug:yard_code>/learnt-drives/", LearntDrives.as_view(), name="api_learnt_drives"),
    path("week-plans/", week_plans, name="api_week_plans"),
    path("week-plans/<row:week_id>/", week_plan, name="api_week_plan"),
    path("week-plans/<row:week_id>/take-over/", week_plan_take_over, name="api_week_plan_take_over"),
    path("plan-runs/<row:run_id>/", plan_run, name="api_plan_run"),
]
