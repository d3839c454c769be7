"""Hours and pay of a week, for programs of the owner."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from pricing.costs.domain import WorkerWeek
from pricing.costs.selectors import week_hours
from shared import clock
from shared.api_kit.permissions import OwnerOnly
from shared.company.selectors import company_get


class WeekQuery(serializers.Serializer[Any]):
    day = serializers.DateField(required=False, help_text="Any day of the week; default: today")


class WorkerWeekOutput(serializers.Serializer[WorkerWeek]):
    name = serializers.CharField()
    minutes = serializers.ListField(child=serializers.IntegerField(), help_text="Monday to Sunday, driving included")
    worked_minutes = serializers.IntegerField()
    overtime_minutes = serializers.IntegerField(help_text="After 40 hours")
    straight_cents = serializers.IntegerField()
    regular_rate_cents = serializers.IntegerField(allow_null=True, help_text="An hour")
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
        description="The federal 40-hour week from Monday. State law may ask for more. Not legal advice.",
    )
    def get(self, request: Request) -> Response:
        query = WeekQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        today = clock.local_date(company_get().timezone, clock.now())
        weeks = week_hours(day=query.validated_data.get("day", today))
        return Response([WorkerWeekOutput(week).data for week in weeks])


urlpatterns = [path("week-hours/", WeekView.as_view(), name="api_week_hours")]
