"""Forecasts of walls and the owner's limit for programs."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.chalking.choices import DueWhen, Refusal
from jobs.chalking.domain.verdict import Verdict
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import chalk_setting_get, forecast_list, forecast_verdict
from jobs.chalking.services import chalk_setting_update
from shared import clock
from shared.api_kit.permissions import OfficeOnly, OwnerOnly
from shared.company.selectors import company_get

VERDICTS = [(found.value, found.value) for found in Verdict]


class ForecastQuery(serializers.Serializer[Any]):
    verdict = serializers.ChoiceField(choices=VERDICTS, required=False)
    property = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    words = serializers.CharField(required=False, max_length=80, help_text="Each word must occur")


class ForecastOutput(serializers.Serializer[WallForecast]):
    """The days are those of an 80 percent interval and its middle; null where no day is named."""

    wall = serializers.IntegerField(source="wall_id")
    wall_name = serializers.CharField(source="wall.name")
    property = serializers.IntegerField(source="wall.property_id")
    reading = serializers.DecimalField(max_digits=2, decimal_places=1, help_text="the newest, on the field scale")
    read_on = serializers.DateField(source="last_read_on")
    limit_half_steps = serializers.IntegerField()
    verdict = serializers.SerializerMethodField()
    refusal = serializers.ChoiceField(choices=Refusal.choices, allow_blank=True, help_text="why no day is named")
    early_on = serializers.SerializerMethodField()
    middle_on = serializers.SerializerMethodField()
    late_on = serializers.SerializerMethodField()

    def get_verdict(self, row: WallForecast) -> str:
        today = clock.local_date(company_get().timezone, clock.now())
        return str(forecast_verdict(row, today=self.context.get("today") or today))

    def _day(self, row: WallForecast, name: str) -> str | None:
        day = getattr(row, name)
        return None if row.refusal or day is None else day.isoformat()

    def get_early_on(self, row: WallForecast) -> str | None:
        return self._day(row, "early_on")

    def get_middle_on(self, row: WallForecast) -> str | None:
        return self._day(row, "middle_on")

    def get_late_on(self, row: WallForecast) -> str | None:
        return self._day(row, "late_on")


class Forecasts(generics.ListAPIView[WallForecast]):
    permission_classes = (OfficeOnly,)
    serializer_class = ForecastOutput
    queryset = WallForecast.objects.none()

    def get_serializer_context(self) -> dict[str, Any]:
        today = clock.local_date(company_get().timezone, clock.now())
        return {**super().get_serializer_context(), "today": today}

    def get_queryset(self) -> QuerySet[WallForecast]:
        query = ForecastQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        given = query.validated_data
        verdicts = (Verdict(given["verdict"]),) if "verdict" in given else ()
        today = clock.local_date(company_get().timezone, clock.now())
        return forecast_list(
            today=today, verdicts=verdicts, words=given.get("words", ""), property_id=given.get("property")
        )

    @extend_schema(operation_id="chalk_forecast_list", parameters=[ForecastQuery], summary="When walls pass the limit")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)


class LimitInput(serializers.Serializer[Any]):
    limit_half_steps = serializers.IntegerField(min_value=1, max_value=10, help_text="4 is a reading of 2")
    due_when = serializers.ChoiceField(choices=DueWhen.choices)


class Limit(generics.GenericAPIView[Any]):
    permission_classes = (OwnerOnly,)
    serializer_class = LimitInput
    queryset = WallForecast.objects.none()

    @extend_schema(operation_id="chalk_limit_get", summary="The owner's limit")
    def get(self, request: Request) -> Response:
        return Response(LimitInput(chalk_setting_get()).data)

    @extend_schema(operation_id="chalk_limit_update", summary="Change the limit; all forecasts follow")
    def patch(self, request: Request) -> Response:
        body = LimitInput(data=request.data, partial=True)
        body.is_valid(raise_exception=True)
        return Response(LimitInput(chalk_setting_update(actor=request.user, **body.validated_data)).data)


urlpatterns = [
    path("chalk-forecasts/", Forecasts.as_view(), name="api_chalk_forecasts"),
    path("chalk-limit/", Limit.as_view(), name="api_chalk_limit"),
]
