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

from routing.roads.domain.background import FARTHEST, NEAREST, Box
from shared.api_kit.permissions import SignedIn

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


urlpatterns = [path("roads/background/", background, name="api_roads_background")]
