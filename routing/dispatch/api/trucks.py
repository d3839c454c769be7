"""Trucks and what they wash with, for programs."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from routing.dispatch.models import Rig
from routing.dispatch.selectors.rigs import truck_get, truck_list
from routing.dispatch.services import rig_set
from routing.plans.models import Truck
from shared.api_kit.permissions import OfficeOnly

MOST_ML = 10_000_000


class RigInput(serializers.Serializer[Any]):
    """What was measured; what is left out stays."""

    drawn_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    out_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    measured_on = serializers.DateField(required=False, allow_null=True)
    flow_ml_per_minute = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    pressure_psi = serializers.IntegerField(min_value=50, max_value=10_000, required=False, allow_null=True)
    jug_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    eyewash_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)


class RigOutput(serializers.ModelSerializer[Rig]):
    class Meta:
        model = Rig
        fields = (
            "drawn_ml", "out_ml", "measured_on", "flow_ml_per_minute", "pressure_psi", "jug_ml", "eyewash_ml",
        )  # fmt: skip


class TruckOutput(serializers.Serializer[Truck]):
    code = serializers.SlugField()
    yard = serializers.SlugField(source="yard.code")
    mix_litres = serializers.IntegerField(allow_null=True, help_text="Tank; null: no limit")
    rig = serializers.SerializerMethodField(help_text="Null until something was measured")

    @extend_schema_field(RigOutput(allow_null=True))
    def get_rig(self, truck: Truck) -> Any:
        rig = getattr(truck, "rig", None)
        return None if rig is None else RigOutput(rig).data


class Trucks(generics.ListAPIView[Truck]):
    permission_classes = (OfficeOnly,)
    serializer_class = TruckOutput
    queryset = Truck.objects.none()

    def get_queryset(self) -> QuerySet[Truck]:
        return truck_list()

    @extend_schema(operation_id="truck_list", summary="Trucks with what they wash with")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)


@extend_schema(
    operation_id="rig_set", request=RigInput, responses=TruckOutput, summary="Write down what a truck washes with"
)
@api_view(["PUT"])
@permission_classes([OfficeOnly])
def truck_rig(request: Request, truck_code: str) -> Response:
    row = truck_get(code=truck_code)
    body = RigInput(data=request.data)
    body.is_valid(raise_exception=True)
    rig_set(truck=row, actor=request.user, **body.validated_data)
    return Response(TruckOutput(truck_get(code=truck_code)).data)


urlpatterns = [
    path("trucks/", Trucks.as_view(), name="api_truck_list"),
    path("trucks/<slug:truck_code>/rig/", truck_rig, name="api_truck_rig"),
]
