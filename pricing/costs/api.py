"""Hours and pay of a week, bonuses, the work week and mileage rates, for programs of the owner."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from pricing.costs.domain import WorkerWeek
from pricing.costs.inputs import YearRate
from pricing.costs.models import Weekday
from pricing.costs.selectors import cost_settings_get, mileage_rate_list, week_hours
from pricing.costs.services import bonus_add, cost_settings_set, mileage_rate_set
from shared import clock
from shared.api_kit.permissions import OwnerOnly
from shared.company.selectors import company_get

MOST_CENTS = 2**31 - 1


class WeekQuery(serializers.Serializer[Any]):
    day = serializers.DateField(required=False, help_text="Any day of the week; default: today")


class WorkerWeekOutput(serializers.Serializer[WorkerWeek]):
    name = serializers.CharField()
    minutes = serializers.ListField(
        child=serializers.IntegerField(), help_text="By day from the first of the work week, driving included"
    )
    worked_minutes = serializers.IntegerField()
    overtime_minutes = serializers.IntegerField(help_text="After 40 hours")
    straight_cents = serializers.IntegerField()
    regular_rate_cents = serializers.IntegerField(allow_null=True, help_text="An hour, promised bonuses included")
    promised_cents = serializers.IntegerField(help_text="Bonuses that count in the regular rate")
    gift_cents = serializers.IntegerField(help_text="Bonuses that do not")
    premium_cents = serializers.IntegerField(help_text="Half the regular rate for each overtime hour")
    pay_cents = serializers.IntegerField()


class WeekView(APIView):
    """The week of everybody; the owner's alone."""

    permission_classes = [OwnerOnly]

    @extend_schema(
        operation_id="week_hours",
        parameters=[WeekQuery],
        responses=WorkerWeekOutput(many=True),
        summary="Hours, overtime and pay of each worker in a week",
        description="The federal 40-hour week from the weekday that the owner chose. State law may ask for more. "
        "Not legal advice.",
    )
    def get(self, request: Request) -> Response:
        query = WeekQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        today = clock.local_date(company_get().timezone, clock.now())
        weeks = week_hours(day=query.validated_data.get("day", today))
        return Response([WorkerWeekOutput(week).data for week in weeks])


class BonusBody(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    earned_on = serializers.DateField(help_text="A day of the week that it counts in")
    cents = serializers.IntegerField(min_value=1, max_value=10_000_000)
    is_promised = serializers.BooleanField(default=True, help_text="Counts in the regular rate (29 CFR 778.208)")
    reason = serializers.CharField(max_length=120)


class BonusView(APIView):
    """Bonuses of workers; the owner's alone."""

    permission_classes = [OwnerOnly]
    problem_statuses = (404, 409, 422)

    @extend_schema(
        operation_id="bonus_add",
        request=BonusBody,
        responses={201: BonusBody},
        summary="Add a bonus to a worker's week",
    )
    def post(self, request: Request) -> Response:
        body = BonusBody(data=request.data)
        body.is_valid(raise_exception=True)
        bonus_add(actor=request.user, **body.validated_data)
        return Response(body.data, status=201)


class CostSettingsBody(serializers.Serializer[Any]):
    week_starts_on = serializers.ChoiceField(choices=Weekday.choices, help_text="0 Monday to 6 Sunday")
    drawings_cents_a_year = serializers.IntegerField(
        min_value=0, max_value=MOST_CENTS, allow_null=True, help_text="The owner's; null: not reckoned with"
    )


class CostSettingsView(APIView):
    """The work week and the owner's drawings; the owner's alone."""

    permission_classes = [OwnerOnly]
    problem_statuses = (409, 422)

    @extend_schema(operation_id="cost_settings", responses=CostSettingsBody, summary="Work week and owner's drawings")
    def get(self, request: Request) -> Response:
        return Response(CostSettingsBody(cost_settings_get()).data)

    @extend_schema(
        operation_id="cost_settings_set",
        request=CostSettingsBody,
        responses=CostSettingsBody,
        summary="Set the work week and the owner's drawings",
        description="The week may begin on any weekday as long as that stays the same (29 CFR 778.105).",
    )
    def put(self, request: Request) -> Response:
        body = CostSettingsBody(data=request.data)
        body.is_valid(raise_exception=True)
        return Response(CostSettingsBody(cost_settings_set(actor=request.user, **body.validated_data)).data)


class RateBody(serializers.Serializer[Any]):
    tenths_of_cent_per_mile = serializers.IntegerField(min_value=1, max_value=100_000)
    source = serializers.CharField(max_length=200, help_text="Where the rate was read")  # type: ignore[assignment]


class YearRateOutput(serializers.Serializer[YearRate]):
    year = serializers.IntegerField()
    tenths_of_cent_per_mile = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]
    is_own = serializers.BooleanField(help_text="Entered by the owner in place of the published one")


class MileageView(APIView):
    """Mileage rates by year; the owner's alone."""

    permission_classes = [OwnerOnly]

    @extend_schema(operation_id="mileage_rates", responses=YearRateOutput(many=True), summary="Mileage rates by year")
    def get(self, request: Request) -> Response:
        return Response([YearRateOutput(rate).data for rate in mileage_rate_list()])


class YearView(APIView):
    """The mileage rate of one year; the owner's alone."""

    permission_classes = [OwnerOnly]
    problem_statuses = (409, 422)

    @extend_schema(
        operation_id="mileage_rate_set",
        request=RateBody,
        responses=RateBody,
        summary="Set the mileage rate of a year, 2000 to 2100, for what is booked from now on",
    )
    def put(self, request: Request, year: int) -> Response:
        body = RateBody(data=request.data)
        body.is_valid(raise_exception=True)
        return Response(RateBody(mileage_rate_set(year=year, actor=request.user, **body.validated_data)).data)


urlpatterns = [
    path("week-hours/", WeekView.as_view(), name="api_week_hours"),
    path("bonuses/", BonusView.as_view(), name="api_bonuses"),
    path("cost-settings/", CostSettingsView.as_view(), name="api_cost_settings"),
    path("mileage-rates/", MileageView.as_view(), name="api_mileage_rates"),
    path("mileage-rates/<int:year>/", YearView.as_view(), name="api_mileage_rate"),
]
