"""Leads with their advice for programs, and decisions."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from pricing.triage.choices import Choice
from pricing.triage.models import LeadDecision
from pricing.triage.views import decision_make, today_of
from routing.plans.models import Yard
from routing.plans.selectors.leads import lead_triage
from shared.api_kit.permissions import OfficeOnly
from shared.errors import NotFound

MOST_CENTS = 100_000_000


class FitOutput(serializers.Serializer[Any]):
    work_date = serializers.DateField()
    crew = serializers.CharField()
    detour_minutes = serializers.IntegerField()
    is_near = serializers.BooleanField()
    has_room = serializers.BooleanField()
    crew_minutes = serializers.IntegerField(help_text="Of a two-person crew, driving included")
    worth_cents = serializers.IntegerField(help_text="A crew-hour's on that day")
    least_price_cents = serializers.IntegerField()


class LeadOutput(serializers.Serializer[Any]):
    job = serializers.IntegerField(source="lead.job_id")
    advice = serializers.ChoiceField(choices=Choice.choices)
    price_cents = serializers.IntegerField(source="lead.price_cents")
    ask_cents = serializers.IntegerField(allow_null=True)
    earned_cents_per_crew_hour = serializers.IntegerField(allow_null=True)
    hours_worth_cents = serializers.IntegerField(allow_null=True)
    over_cents = serializers.IntegerField()
    fits = FitOutput(many=True)


class DecisionInput(serializers.Serializer[Any]):
    choice = serializers.ChoiceField(choices=Choice.choices)
    price_cents = serializers.IntegerField(min_value=1, max_value=MOST_CENTS)
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class DecisionOutput(serializers.ModelSerializer[LeadDecision]):
    class Meta:
        model = LeadDecision
        fields = ("id", "job_ref", "advice", "choice", "price_cents", "crew_minutes", "reason", "decided_at")


@extend_schema(
    operation_id="lead_list", responses=LeadOutput(many=True), summary="Leads with advice, the ones to call first"
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def leads(request: Request, yard_code: str) -> Response:
    yard = _yard(yard_code)
    return Response(LeadOutput(list(lead_triage(yard=yard, today=today_of(yard)).judged), many=True).data)


@extend_schema(
    operation_id="lead_decide",
    request=DecisionInput,
    responses={201: DecisionOutput},
    summary="Keep what was decided about a lead",
    description="Declining needs a reason and takes the lead out of the queue.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def decide(request: Request, yard_code: str, job_id: int) -> Response:
    body = DecisionInput(data=request.data)
    body.is_valid(raise_exception=True)
    row = decision_make(job_id=job_id, yard=_yard(yard_code), actor=request.user, **body.validated_data)
    return Response(DecisionOutput(row).data, status=201)


def _yard(code: str) -> Yard:
    row = Yard.objects.filter(code=code).first()
    if row is None:
        raise NotFound("There is no such yard.")
    return row


urlpatterns = [
    path("yards/<slug:yard_code>/leads/", leads, name="api_lead_list"),
    path("yards/<slug:yard_code>/leads/<row:job_id>/decision/", decide, name="api_lead_decide"),
]
