"""Sheets of routes that were sent out, with their mixes and steps, and the weather of a day, for programs."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from routing.dispatch.domain.safety import heat_index_f
from routing.dispatch.models import DayWeather
from routing.dispatch.selectors.sent import sent_route_get
from routing.dispatch.selectors.sheets import sheet_of_sent
from routing.dispatch.selectors.weather import day_weather
from routing.dispatch.services import day_weather_set
from routing.dispatch.sheet import Sheet
from routing.dispatch.weather_words import weather_words
from routing.plans.models import DayPlan
from routing.plans.selectors import day_plan_by_id
from shared import clock
from shared.api_kit.permissions import OfficeOnly, SignedIn
from shared.errors import NotFound
from shared.units import round_half_up


def _sentences(**kwargs: Any) -> serializers.ListField:
    return serializers.ListField(child=serializers.CharField(), **kwargs)


class PourOutput(serializers.Serializer[Any]):
    where = serializers.CharField()
    stock = serializers.CharField(help_text="As a crew measures it, rounded down")
    water = serializers.CharField(help_text="As a crew measures it, rounded up; empty: none")


class MixNoteOutput(serializers.Serializer[Any]):
    product = serializers.IntegerField(source="product_id")
    head = serializers.CharField()
    is_stopped = serializers.BooleanField(help_text="Nothing is mixed; `warnings` say why")
    stock_ml = serializers.IntegerField()
    surface_ml = serializers.IntegerField()
    tank_ml = serializers.IntegerField()
    hose_water_ml = serializers.IntegerField()
    basis_points = serializers.IntegerField(help_text="At the surface, 0.01 %")
    basis = serializers.CharField()
    pours = PourOutput(many=True)
    how = _sentences()
    warnings = _sentences()


class SheetStepOutput(serializers.Serializer[Any]):
    code = serializers.CharField()
    words = serializers.CharField()
    notes = _sentences(help_text="What was found on the walls and matters here")


class SheetLineOutput(serializers.Serializer[Any]):
    line = serializers.IntegerField(source="line_id")
    service = serializers.CharField()
    quantity = serializers.CharField()
    mixes = MixNoteOutput(many=True)
    steps = SheetStepOutput(many=True)


class SheetStopOutput(serializers.Serializer[Any]):
    stop = serializers.IntegerField(source="stop_id")
    job = serializers.IntegerField(source="job_id")
    number = serializers.IntegerField()
    address = serializers.CharField()
    lines = SheetLineOutput(many=True)
    met = _sentences(help_text="What met on its walls that must not")
    unrinsed = _sentences(help_text="What else lies on its walls by the record")
    cautions = _sentences()
    common_cautions = _sentences()


class SheetOutput(serializers.Serializer[Sheet]):
    """Words are in the language that was asked for."""

    crew = serializers.CharField(source="crew_code")
    truck = serializers.CharField()
    work_date = serializers.DateField()
    first_words = serializers.CharField()
    weather = _sentences()
    load_out = _sentences()
    mix_totals = _sentences(help_text="What the truck takes along, and what is wrong with that")
    limits = _sentences(help_text="At the surface, each with its footing")
    stops = SheetStopOutput(many=True)
    cautions = _sentences()


@extend_schema(
    operation_id="route_sheet",
    responses=SheetOutput,
    summary="The sheet of a route that was sent out: mixes, steps, cautions",
    description="A crew lead sees the own routes of today and the next working day.",
)
@api_view(["GET"])
@permission_classes([SignedIn])
def sheet(request: Request, route_id: int) -> Response:
    route = sent_route_get(pk=route_id, user=request.user, now=clock.now())
    return Response(SheetOutput(sheet_of_sent(route=route)).data)


class WeatherInput(serializers.Serializer[Any]):
    high_f = serializers.IntegerField(min_value=-40, max_value=130)
    humidity_percent = serializers.IntegerField(min_value=0, max_value=100, help_text="Of the hottest hour")
    wind_mph = serializers.IntegerField(min_value=0, max_value=150, required=False, allow_null=True)
    has_thunder = serializers.BooleanField(default=False, help_text="Thunder is forecast")


class WeatherOutput(serializers.Serializer[DayWeather]):
    yard = serializers.SlugField(source="yard.code")
    work_date = serializers.DateField()
    high_f = serializers.IntegerField()
    humidity_percent = serializers.IntegerField()
    wind_mph = serializers.IntegerField(allow_null=True)
    has_thunder = serializers.BooleanField()
    heat_index_f = serializers.SerializerMethodField(help_text="In the shade; full sun adds up to 15 F")
    words = serializers.SerializerMethodField(help_text="What the crews read")

    def get_heat_index_f(self, row: DayWeather) -> int:
        return round_half_up(heat_index_f(row.high_f, row.humidity_percent))

    def get_words(self, row: DayWeather) -> list[str]:
        return list(weather_words(row))


class Weather(APIView):
    permission_classes = (OfficeOnly,)

    @extend_schema(operation_id="day_weather", responses=WeatherOutput, summary="The weather of a planned day")
    def get(self, request: Request, plan_id: int) -> Response:
        return Response(WeatherOutput(_weather(day_plan_by_id(plan_id=plan_id))).data)

    @extend_schema(
        operation_id="day_weather_set",
        request=WeatherInput,
        responses=WeatherOutput,
        summary="Write down the weather of a planned day",
    )
    def put(self, request: Request, plan_id: int) -> Response:
        plan = day_plan_by_id(plan_id=plan_id)
        body = WeatherInput(data=request.data)
        body.is_valid(raise_exception=True)
        day_weather_set(yard=plan.yard, work_date=plan.work_date, actor=request.user, **body.validated_data)
        return Response(WeatherOutput(_weather(plan)).data)


def _weather(plan: DayPlan) -> DayWeather:
    row = day_weather(yard=plan.yard, work_date=plan.work_date)
    if row is None:
        raise NotFound("No weather is written down for this day.")
    return row


urlpatterns = [
    path("routes/<row:route_id>/sheet/", sheet, name="api_route_sheet"),
    path("day-plans/<row:plan_id>/weather/", Weather.as_view(), name="api_day_weather"),
]
