"""Sent routes, marks and sending out, for programs."""

from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.work.domain.booking import LineBooked
from routing.dispatch.models import MarkKind, SentPlan, SentRoute, SentStop, StopMark
from routing.dispatch.selectors.sent import sent_route_list, sent_stop_get
from routing.dispatch.selectors.sheets import geo_uri
from routing.dispatch.services import plan_send_out, stop_mark
from routing.dispatch.words import changes_by_crew
from routing.plans.selectors import day_plan_by_id
from shared import clock
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import OfficeOnly, SignedIn
from shared.api_kit.schema import IF_MATCH

MOST_MINUTES = 1_440
MOST_CENTS = 100_000_000  # as the page takes it


class RouteQuery(serializers.Serializer[Any]):
    work_date = serializers.DateField(required=False, help_text="Default: all that you may see")


class SentLineOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    service = serializers.SlugField(source="service.code")
    name = serializers.CharField(source="service.name")
    quantity = serializers.IntegerField()
    estimated_minutes = serializers.IntegerField()


class SentStopOutput(serializers.Serializer[SentStop]):
    """A stop as it was sent out. `id` is the one that marks are made for."""

    id = serializers.IntegerField()
    job = serializers.IntegerField(source="job_id")
    job_state = serializers.CharField(source="job.state")
    position = serializers.IntegerField()
    arrive_at = serializers.SerializerMethodField()
    finish_at = serializers.SerializerMethodField()
    address = serializers.CharField(source="job.property.address")
    geo = serializers.SerializerMethodField()
    customer_name = serializers.CharField(source="job.property.customer.name")
    phone = serializers.CharField(source="job.property.customer.phone_e164")
    gate_note = serializers.CharField(source="job.property.gate_note")
    pet_note = serializers.CharField(source="job.property.pet_note")
    note = serializers.CharField(source="job.note")
    lines = SentLineOutput(source="job.lines.all", many=True)
    drive_minutes = serializers.IntegerField(help_text="Its share of the route's driving")
    drive_metres = serializers.IntegerField(help_text="Its share of the route's driving")

    def get_arrive_at(self, stop: SentStop) -> datetime:
        return _instant(stop, stop.arrive_minute)

    def get_finish_at(self, stop: SentStop) -> datetime:
        return _instant(stop, stop.finish_minute)

    def get_geo(self, stop: SentStop) -> str:
        return geo_uri(stop.job.property.latitude, stop.job.property.longitude)


class SentRouteOutput(serializers.Serializer[SentRoute]):
    id = serializers.IntegerField()
    crew = serializers.CharField(source="crew.code")
    yard = serializers.CharField(source="sent.plan.yard.code")
    work_date = serializers.DateField(source="sent.plan.work_date")
    number = serializers.IntegerField(source="sent.number", help_text="The version of the day")
    drive_source = serializers.CharField(source="sent.plan.drive_source")
    drive_minutes = serializers.IntegerField()
    drive_metres = serializers.IntegerField()
    paid_minutes = serializers.IntegerField()
    stops = serializers.SerializerMethodField()

    @extend_schema_field(SentStopOutput(many=True))
    def get_stops(self, route: SentRoute) -> Any:
        stops = list(route.stops.all())
        for stop in stops:
            stop.route = route  # already read: no query for each stop
        return [SentStopOutput(stop).data for stop in stops]


class LineBookedInput(serializers.Serializer[Any]):
    line = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    minutes = serializers.IntegerField(min_value=0, max_value=MOST_MINUTES, required=False, allow_null=True)
    materials_cents = serializers.IntegerField(min_value=0, max_value=MOST_CENTS, required=False, allow_null=True)


class MarkInput(serializers.Serializer[Any]):
    """Minutes, lines and note belong to `finished`. Minutes that are left out are those of the clock."""

    kind = serializers.ChoiceField(choices=MarkKind.choices)
    at = serializers.DateTimeField(required=False, help_text="Default: now")
    minutes = serializers.IntegerField(
        min_value=1, max_value=MOST_MINUTES, required=False, allow_null=True, help_text="On site, all lines together"
    )
    lines = LineBookedInput(many=True, required=False, default=[])
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class MarkOutput(serializers.Serializer[StopMark]):
    id = serializers.IntegerField()
    job = serializers.IntegerField(source="job_id")
    work_date = serializers.DateField()
    kind = serializers.ChoiceField(choices=MarkKind.choices)
    at = serializers.DateTimeField()


class SentPlanOutput(serializers.Serializer[SentPlan]):
    id = serializers.IntegerField()
    plan = serializers.IntegerField(source="plan_id")
    number = serializers.IntegerField()
    sent_at = serializers.DateTimeField()
    changes = serializers.SerializerMethodField(help_text="What changed since the version before, in words, by crew")

    @extend_schema_field(serializers.DictField(child=serializers.ListField(child=serializers.CharField())))
    def get_changes(self, sent: SentPlan) -> Any:
        return changes_by_crew(sent.changes, day=sent.plan.work_date, zone=sent.plan.yard.timezone)


class Routes(generics.ListAPIView[SentRoute]):
    permission_classes = (SignedIn,)
    serializer_class = SentRouteOutput
    queryset = SentRoute.objects.none()

    def get_queryset(self) -> QuerySet[SentRoute]:
        query = RouteQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return sent_route_list(user=self.request.user, now=clock.now(), **query.validated_data)

    @extend_schema(
        operation_id="route_list",
        parameters=[RouteQuery],
        summary="Routes as they were sent out last, the latest day first",
        description="A crew lead sees the own routes of today and the next working day, the office all of them.",
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)


@extend_schema(
    operation_id="stop_mark",
    request=MarkInput,
    responses={200: MarkOutput},
    summary="Mark a stop as arrived, started or finished",
    description=(
        "The same mark again is answered with the first one and changes nothing, so a call may be repeated. "
        "`finished` books the job. A phone that had no signal may send up to seven days late, with `at` on the stop's "
        "day. Answers 409 `mark_refused` for a mark out of order, of another day or in the future."
    ),
)
@api_view(["POST"])
@permission_classes([SignedIn])
def marks(request: Request, stop_id: int) -> Response:
    now = clock.now()
    stop = sent_stop_get(pk=stop_id, user=request.user, now=now, late=True)
    body = MarkInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = body.validated_data
    lines = [LineBooked(line["line"], line.get("minutes"), line.get("materials_cents")) for line in data["lines"]]
    mark = stop_mark(
        stop=stop,
        kind=data["kind"],
        at=data.get("at", now),
        now=now,
        actor=request.user,
        lines=lines,
        on_site_minutes=data.get("minutes"),
        note=data["note"],
    )
    return Response(MarkOutput(mark).data)


@extend_schema(
    operation_id="day_plan_send_out",
    request=None,
    responses={201: SentPlanOutput},
    parameters=[IF_MATCH],
    summary="Send a day plan out to the crews",
    description="Freezes it as the next version. Answers 409 `nothing_to_send` where nothing changed since the last.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def send_out(request: Request, plan_id: int) -> Response:
    plan = day_plan_by_id(plan_id=plan_id)
    version = expected_version(request, plan)
    sent = plan_send_out(plan=plan, expected_version=version, actor=request.user)
    return with_etag(Response(SentPlanOutput(sent).data, status=201), plan)


def _instant(stop: SentStop, minute: int) -> datetime:
    plan = stop.route.sent.plan
    return clock.midnight(plan.work_date, plan.yard.timezone) + timedelta(minutes=minute)


urlpatterns = [
    path("routes/", Routes.as_view(), name="api_route_list"),
    path("stops/<row:stop_id>/marks/", marks, name="api_stop_marks"),
    path("day-plans/<row:plan_id>/send-out/", send_out, name="api_send_out"),
]
