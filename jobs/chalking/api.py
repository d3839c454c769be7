"""Forecasts of walls and the owner's limit for programs."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.functional import cached_property
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.chalking.choices import DueWhen, Refusal, Since
from jobs.chalking.domain.findings import What
from jobs.chalking.domain.verdict import Verdict
from jobs.chalking.learnt import chalk_learnt
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import chalk_setting_get, forecast_list, forecast_verdict, reading_of
from jobs.chalking.services import chalk_setting_update
from jobs.chalking.words import season_chance
from shared import clock
from shared.api_kit.permissions import OfficeOnly, OwnerOnly
from shared.company.selectors import company_get

VERDICTS = [(found.value, found.value) for found in Verdict]


class ForecastQuery(serializers.Serializer[Any]):
    verdict = serializers.MultipleChoiceField(
        choices=VERDICTS, required=False, help_text="may be given several times: any of them"
    )
    property = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    words = serializers.CharField(required=False, max_length=80, help_text="Each word must occur")
    untested = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="only walls that nobody has tested, or only the others"
    )


class ForecastOutput(serializers.Serializer[WallForecast]):
    """The days are those of an 80 percent interval and its middle; null where no day is named.

    Where `is_untested`, nobody has read the wall's present surface: the days are those of walls like it, and nothing
    here was seen on the wall. Nothing is due by them and nothing of them may be told to a customer as read.
    """

    wall = serializers.IntegerField(source="wall_id")
    wall_name = serializers.CharField(source="wall.name")
    property = serializers.IntegerField(source="wall.property_id")
    is_untested = serializers.BooleanField(help_text="nobody has read it: the forecast is of the walls like it")
    reading = serializers.DecimalField(
        max_digits=2, decimal_places=1, allow_null=True, help_text="the newest, on the field scale; null if never read"
    )
    read_on = serializers.DateField(source="last_read_on", allow_null=True)
    limit_half_steps = serializers.IntegerField()
    verdict = serializers.SerializerMethodField()
    chance_this_season = serializers.SerializerMethodField(
        help_text="of having passed the limit within 92 days, 0.1 to 0.9; null where no day is named"
    )
    light = serializers.SerializerMethodField(help_text="in a year, as a share of an open wall that faces the noon sun")
    since = serializers.DateField(allow_null=True, help_text="day on which the surface's present life began")
    since_what = serializers.ChoiceField(choices=Since.choices)
    reading_count = serializers.IntegerField(help_text="readings of this wall that the forecast rests on")
    refusal = serializers.ChoiceField(choices=Refusal.choices, allow_blank=True, help_text="why no day is named")
    early_on = serializers.SerializerMethodField()
    middle_on = serializers.SerializerMethodField()
    late_on = serializers.SerializerMethodField()

    def get_verdict(self, row: WallForecast) -> str:
        return str(forecast_verdict(row, reading=reading_of(row), limit=self._limit(), today=self._today()))

    def get_chance_this_season(self, row: WallForecast) -> float | None:
        chance = season_chance(row, today=self._today())
        return None if chance is None else round(chance, 2)

    def get_light(self, row: WallForecast) -> float:
        return round(float(sum(row.dose_by_month)), 3)

    def _limit(self) -> Decimal:
        limit: Decimal = self.context["limit"]
        return limit

    def _today(self) -> date:
        today: date = self.context["today"]
        return today

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

    @cached_property
    def known(self) -> dict[str, Any]:
        today = clock.local_date(company_get().timezone, clock.now())
        return {"today": today, "limit": chalk_setting_get().limit_decimal}

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), **self.known}

    def get_queryset(self) -> QuerySet[WallForecast]:
        query = ForecastQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        given = query.validated_data
        verdicts = tuple(Verdict(found) for found in sorted(given.get("verdict", ())))
        return forecast_list(
            **self.known,
            verdicts=verdicts,
            words=given.get("words", ""),
            property_id=given.get("property"),
            is_untested=given["untested"],
        )

    @extend_schema(operation_id="chalk_forecast_list", parameters=[ForecastQuery], summary="When walls pass the limit")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)


class LearntRange(serializers.Serializer[Any]):
    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class LearntOutput(serializers.Serializer[Any]):
    """A range holds four times in five. Years, a factor (`dark`, `again`, `pace`, `material`, `kind`) or steps."""

    what = serializers.ChoiceField(choices=[(found.value, found.value) for found in What], source="finding.what")
    subject = serializers.CharField(source="finding.subject", help_text="material, kind or number of a reader")
    words = serializers.CharField()
    before = LearntRange(source="finding.before")
    now = LearntRange(source="finding.now")
    is_learnt = serializers.BooleanField(source="finding.is_learnt", help_text="whether the readings narrowed it")


class Learnt(generics.GenericAPIView[Any]):
    permission_classes = (OfficeOnly,)
    serializer_class = LearntOutput
    queryset = WallForecast.objects.none()
    pagination_class = None

    @extend_schema(
        operation_id="chalk_learnt_list",
        summary="What the readings taught",
        responses=LearntOutput(many=True),
    )
    def get(self, request: Request) -> Response:
        _model, lines = chalk_learnt()
        return Response(LearntOutput(lines, many=True).data)


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
    path("chalk-learnt/", Learnt.as_view(), name="api_chalk_learnt"),
    path("chalk-limit/", Limit.as_view(), name="api_chalk_limit"),
]
