"""Roads for programs and maps, as GeoJSON (RFC 7946)."""

from typing import Any

from django.http import HttpResponse
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from routing.roads.domain.background import FARTHEST, NEAREST, Box
from routing.roads.domain.speeds import HourClass
from routing.roads.models import LAST_MINUTE, PERCENTS, TrafficHours
from routing.roads.selectors import traffic_hours, traffic_is_default, traffic_table
from routing.roads.services.traffic import traffic_hours_restore, traffic_hours_set
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import SignedIn
from shared.api_kit.schema import IF_MATCH

GEOJSON = "application/geo+json"
AN_HOUR = "private, max-age=3600"


class BackgroundQuery(serializers.Serializer[Any]):
    bbox = serializers.CharField(max_length=100, help_text="west,south,east,north in degrees")
    zoom = serializers.IntegerField(min_value=FARTHEST, max_value=NEAREST, help_text="nearness as in web maps")

    def validate_bbox(self, value: str) -> Box:
        try:
            west, south, east, north = (float(part) for part in value.split(","))
            return Box(west, south, east, north)
        except ValueError as error:
            raise serializers.ValidationError(
                _("Four numbers in degrees, west,south,east,north, with west < east and south < north.")
            ) from error


@extend_schema(
    operation_id="roads_background",
    parameters=[
        OpenApiParameter("bbox", str, required=True, description="west,south,east,north in degrees"),
        OpenApiParameter("zoom", int, required=True, description=f"{FARTHEST} to {NEAREST}, as in web maps"),
    ],
    responses={(200, GEOJSON): OpenApiTypes.OBJECT},
    summary="The roads in use as the ground of a map",
    description=(
        "Lines by class and name, simplified for the zoom. `left_out` names classes that would have made the answer "
        "too large. Map data © OpenStreetMap contributors, ODbL."
    ),
)
@api_view(["GET"])
@permission_classes([SignedIn])
def background(request: Request) -> HttpResponse:
    from routing.roads.services.background import roads_background

    query = BackgroundQuery(data=request.query_params)
    query.is_valid(raise_exception=True)
    body = roads_background(box=query.validated_data["bbox"], zoom=query.validated_data["zoom"])
    return HttpResponse(body, content_type=GEOJSON, headers={"Cache-Control": AN_HOUR})


class HoursRow(serializers.ModelSerializer[TrafficHours]):
    """Hours with like traffic: speeds in percent of the free ones."""

    from_minute = serializers.IntegerField(
        min_value=0, max_value=LAST_MINUTE, help_text="minutes after local midnight; they end where the next ones begin"
    )

    class Meta:
        model = TrafficHours
        fields = ("name", "from_minute", *PERCENTS)
        extra_kwargs = {name: {"required": True} for name in PERCENTS}  # noqa: RUF012


class TrafficInput(serializers.Serializer[Any]):
    hours = HoursRow(many=True)


class TrafficOutput(TrafficInput):
    is_default = serializers.BooleanField(help_text="Starting values: common practice, no source")


class Traffic(APIView):
    """The owner's table of speeds by hour and class of road."""

    @extend_schema(operation_id="traffic_hours", summary="Speed that traffic leaves", responses=TrafficOutput)
    def get(self, request: Request) -> Response:
        return _traffic()

    @extend_schema(
        operation_id="traffic_hours_set",
        summary="Put another table of traffic hours in place",
        description="Plans that are made from then on use it; those that are made stay as they are.",
        parameters=[IF_MATCH],
        request=TrafficInput,
        responses=TrafficOutput,
    )
    def put(self, request: Request) -> Response:
        version = expected_version(request, traffic_table())
        body = TrafficInput(data=request.data)
        body.is_valid(raise_exception=True)
        hours = [_hour_class(row) for row in body.validated_data["hours"]]
        traffic_hours_set(hours=hours, seen_version=version, actor=request.user)
        return _traffic()

    @extend_schema(
        operation_id="traffic_hours_restore",
        summary="Back to the starting values",
        parameters=[IF_MATCH],
        responses={200: TrafficOutput},
    )
    def delete(self, request: Request) -> Response:
        version = expected_version(request, traffic_table())
        traffic_hours_restore(seen_version=version, actor=request.user)
        return _traffic()


def _hour_class(row: dict[str, Any]) -> HourClass:
    motorway, main, street, last_mile = (row[name] for name in PERCENTS)
    return HourClass(row["name"], row["from_minute"], (motorway, main, street, last_mile))


def _traffic() -> Response:
    hours = [
        {"name": hour.name, "from_minute": hour.from_minute, **dict(zip(PERCENTS, hour.percent, strict=True))}
        for hour in traffic_hours()
    ]
    answer = Response(TrafficOutput({"is_default": traffic_is_default(), "hours": hours}).data)
    return with_etag(answer, traffic_table())


urlpatterns = [
    path("roads/background/", background, name="api_roads_background"),
    path("roads/traffic-hours/", Traffic.as_view(), name="api_traffic_hours"),
]
