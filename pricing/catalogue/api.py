"""Taxes for programs: what was entered, and a new one."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from pricing.catalogue.models import TaxRate
from pricing.catalogue.selectors import tax_list
from pricing.catalogue.services import tax_set
from shared import clock
from shared.api_kit.permissions import OwnerOnly
from shared.company.selectors import company_get


class TaxBody(serializers.Serializer[TaxRate]):
    name = serializers.CharField(max_length=60)
    effective_from = serializers.DateField()
    rate_millionths = serializers.IntegerField(min_value=0, max_value=999_999, help_text="88750 is 8.875 %; 0 ends it")


class Taxes(APIView):
    """The taxes that the owner entered; none is assumed."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (422,)

    @extend_schema(operation_id="tax_list", responses=TaxBody(many=True), summary="Every tax that was entered")
    def get(self, request: Request) -> Response:
        return Response([TaxBody(tax).data for tax in tax_list()])

    @extend_schema(
        operation_id="tax_set", request=TaxBody, responses=TaxBody, summary="Enter a tax from today or a later day on"
    )
    def post(self, request: Request) -> Response:
        body = TaxBody(data=request.data)
        body.is_valid(raise_exception=True)
        data: dict[str, Any] = body.validated_data
        today = clock.local_date(company_get().timezone, clock.now())
        return Response(TaxBody(tax_set(**data, today=today, actor=request.user)).data)


urlpatterns = [path("taxes/", Taxes.as_view(), name="api_taxes")]
