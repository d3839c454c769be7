"""Minutes for programs: a forecast with its reasons, how well forecasts did, and what routes reckon with."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.work.minutes import property_forecast
from pricing.minutes.choices import AccessLevel, PromisedMinutes, RouteMinutes, SoilLevel
from pricing.minutes.selectors import calibration_get, minutes_choice_get
from pricing.minutes.services import minutes_choice_set
from pricing.minutes.wording import forecast_words
from shared import clock
from shared.api_kit.permissions import OfficeOnly
from shared.company.selectors import company_get
from shared.people.roles import Role

MOST_ROWS = 2**63 - 1


class ForecastQuery(serializers.Serializer[Any]):
    property_id = serializers.IntegerField(min_value=1, max_value=MOST_ROWS)
    service_code = serializers.SlugField()
    quantity = serializers.IntegerField(
        min_value=1, max_value=1_000_000, required=False, help_text="In the service's unit; default: of the walls"
    )
    crew_code = serializers.SlugField(default="", help_text="Default: any crew")
    access = serializers.ChoiceField(
        choices=AccessLevel.choices, required=False, help_text="Default: as said of the last job"
    )
    soil = serializers.ChoiceField(choices=SoilLevel.choices, required=False, help_text="Default: the same way")
    on = serializers.DateField(required=False, help_text="Day of the work, for the season; default: today")


class EffectOutput(serializers.Serializer[Any]):
    factor = serializers.CharField()
    level = serializers.CharField()
    percent = serializers.IntegerField()


class MinutesForecastOutput(serializers.Serializer[Any]):
    """Minutes on site of a two-person crew."""

    mean_minutes = serializers.IntegerField()
    median_minutes = serializers.IntegerField()
    q80_minutes = serializers.IntegerField()
    q90_minutes = serializers.IntegerField()
    card_minutes = serializers.FloatField(help_text="What the rate card alone says")
    based_on_jobs = serializers.IntegerField(help_text="Of the service, with as many storeys")
    service_jobs = serializers.IntegerField()
    effects = EffectOutput(many=True)
    why = serializers.SerializerMethodField()

    def get_why(self, forecast: Any) -> list[str]:
        return list(forecast_words(forecast))


class LevelOutput(serializers.Serializer[Any]):
    level = serializers.FloatField(help_text="So many should stay within")
    below = serializers.IntegerField()
    share = serializers.FloatField()
    low = serializers.FloatField(help_text="95 % interval by Wilson")
    high = serializers.FloatField()
    holds = serializers.BooleanField()


class CalibrationOutput(serializers.Serializer[Any]):
    jobs = serializers.IntegerField(help_text="Lines judged: the last 200 at most")
    bias = serializers.FloatField(allow_null=True, help_text="Minutes taken over minutes expected; null without jobs")
    levels = LevelOutput(many=True)


class ChoiceBody(serializers.Serializer[Any]):
    promised = serializers.ChoiceField(choices=PromisedMinutes.choices)
    routes = serializers.ChoiceField(choices=RouteMinutes.choices)


class Forecast(APIView):
    permission_classes = (OfficeOnly,)
    problem_statuses = (404, 409, 422)

    @extend_schema(
        operation_id="minutes_forecast",
        parameters=[ForecastQuery],
        responses=MinutesForecastOutput,
        summary="Minutes that a service at a property will take, with their reasons",
    )
    def get(self, request: Request) -> Response:
        query = ForecastQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        today = clock.local_date(company_get().timezone, clock.now())
        return Response(MinutesForecastOutput(property_forecast(**{"on": today, **query.validated_data})).data)


@extend_schema(
    operation_id="minutes_calibration",
    responses=CalibrationOutput,
    summary="What share of the last lines stayed within each quantile",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def calibration(request: Request) -> Response:
    return Response(CalibrationOutput(calibration_get()).data)


@extend_schema(methods=["GET"], operation_id="minutes_choice", responses=ChoiceBody, summary="What routes reckon with")
@extend_schema(
    methods=["PUT"],
    operation_id="minutes_set_choice",
    request=ChoiceBody,
    responses=ChoiceBody,
    summary="Choose what routes reckon with; the owner's alone",
)
@api_view(["GET", "PUT"])
@permission_classes([OfficeOnly])
def choice(request: Request) -> Response:
    if request.method == "PUT":
        if getattr(request.user, "role", None) != Role.OWNER:
            raise PermissionDenied
        body = ChoiceBody(data=request.data)
        body.is_valid(raise_exception=True)
        minutes_choice_set(**body.validated_data, actor=request.user)
    return Response(ChoiceBody(minutes_choice_get()).data)


urlpatterns = [
    path("minutes/forecast/", Forecast.as_view(), name="api_minutes_forecast"),
    path("minutes/calibration/", calibration, name="api_minutes_calibration"),
    path("minutes/choice/", choice, name="api_minutes_choice"),
]
