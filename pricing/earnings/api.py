"""The earnings report for programs."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.report import Decision
from pricing.earnings.domain.verdict import Verdict
from pricing.earnings.selectors import earnings_report
from shared import clock
from shared.api_kit.permissions import OfficeOnly
from shared.company.selectors import company_get


class EarningsQuery(serializers.Serializer[Any]):
    by = serializers.ChoiceField(
        choices=[str(by) for by in Breakdown], default="service", help_text="What the jobs of a group have in common"
    )
    service = serializers.SlugField(required=False, default="", help_text="Only the lines of this service")
    since = serializers.DateField(required=False, help_text="First day of the jobs' first work; default: all jobs")
    until = serializers.DateField(required=False, help_text="Last day; default: today in the company's zone")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "since" in attrs and "until" in attrs and attrs["until"] < attrs["since"]:
            raise serializers.ValidationError({"until": "The last day must not be before the first."})
        return attrs


class PerCrewHourOutput(serializers.Serializer[Any]):
    cents = serializers.IntegerField()
    low_cents = serializers.IntegerField(allow_null=True, help_text="Low end of the 90 % interval")
    high_cents = serializers.IntegerField(allow_null=True, help_text="High end of the 90 % interval")


class RangeOutput(serializers.Serializer[Any]):
    value = serializers.IntegerField()
    low = serializers.IntegerField(allow_null=True, help_text="Low end of the 90 % interval")
    high = serializers.IntegerField(allow_null=True, help_text="High end of the 90 % interval")


class ShortfallOutput(serializers.Serializer[Any]):
    """The hours at the target less what they brought in; the parts add up to the total. Negative: it helps."""

    total_cents = serializers.IntegerField()
    card_cents = serializers.IntegerField(help_text="The estimated minutes at the target less the card's price")
    price_cents = serializers.IntegerField(help_text="The card's price less the agreed one")
    minutes_cents = serializers.IntegerField(help_text="Minutes over the estimate at the target")
    driving_cents = serializers.IntegerField()
    callbacks_cents = serializers.IntegerField()
    refunds_cents = serializers.IntegerField()


class GroupEarningsOutput(serializers.Serializer[Any]):
    """One group of jobs. Fields about materials, wages, vehicle and margin are there for the owner only."""

    key = serializers.CharField(allow_blank=True, help_text="Code of the service or crew, month, ...; empty: not known")
    name = serializers.CharField()
    jobs = serializers.IntegerField()
    crew_minutes = serializers.IntegerField(help_text="Of a two-person crew: on site, set-up and driving")
    drive_crew_minutes = serializers.IntegerField()
    callbacks = serializers.IntegerField(help_text="Free return visits that these jobs caused")
    callback_crew_minutes = serializers.IntegerField()
    earned_cents = serializers.IntegerField(help_text="Before tax, less discounts and refunds")
    refunds_cents = serializers.IntegerField()
    earned_per_crew_hour = PerCrewHourOutput(allow_null=True)
    verdict = serializers.ChoiceField(choices=[str(verdict) for verdict in Verdict])
    decision = serializers.ChoiceField(
        choices=[str(decision) for decision in Decision], allow_null=True, help_text="For a group below the target"
    )
    jobs_shared_by_estimate = serializers.IntegerField(
        help_text="Jobs of several lines whose hours were shared by the estimated minutes"
    )
    shortfall = ShortfallOutput()
    price_rise_percent = RangeOutput(
        allow_null=True, help_text="For a group below the target: the rise that reaches it at the present hours"
    )
    price_rise_cents_per_job = RangeOutput(allow_null=True)
    minutes_to_save_per_job = RangeOutput(
        allow_null=True, help_text="For a group below the target: crew-minutes that reach it at the present prices"
    )
    elsewhere_cents = RangeOutput(
        allow_null=True, help_text="What the group's hours would have earned more at what all other work earned"
    )
    materials_cents = serializers.IntegerField(required=False)
    wages_cents = serializers.IntegerField(required=False)
    vehicle_cents = serializers.IntegerField(required=False)
    margin_cents = serializers.IntegerField(required=False)
    margin_per_crew_hour = PerCrewHourOutput(required=False, allow_null=True)


class EarningsOutput(serializers.Serializer[Any]):
    by = serializers.ChoiceField(choices=[str(by) for by in Breakdown])
    since = serializers.DateField(allow_null=True)
    until = serializers.DateField()
    target_cents_per_crew_hour = serializers.IntegerField()
    reserve_cents_per_crew_hour = serializers.IntegerField()
    groups = GroupEarningsOutput(many=True)


class EarningsView(APIView):
    """The report; read only."""

    permission_classes = [OfficeOnly]
    problem_statuses = (404,)

    @extend_schema(
        operation_id="earnings_report",
        parameters=[EarningsQuery],
        responses=EarningsOutput,
        summary="What a crew-hour earned, by kind of job, crew, part of town and more",
        description=(
            "Jobs first worked in the period, with all that was booked for them since. The worst paid group comes "
            "first. Answers 404 `no_hourly_target` where no target is in force on the last day."
        ),
    )
    def get(self, request: Request) -> Response:
        query = EarningsQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        today = clock.local_date(company_get().timezone, clock.now())
        asked = query.validated_data
        found = earnings_report(
            since=asked.get("since"),
            until=asked.get("until", today),
            by=Breakdown(asked["by"]),
            service_code=asked["service"],
        )
        return Response(found.as_json(with_margin=getattr(request.user, "is_owner", False)))


urlpatterns = [path("earnings/", EarningsView.as_view(), name="api_earnings")]
