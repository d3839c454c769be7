"""Telling customers when the crew comes: who was told, telling them now, on our way, and the settings."""

from datetime import datetime
from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from routing.dispatch.models import TellingSettings, ToldKind
from routing.dispatch.selectors.sent import sent_stop_get
from routing.dispatch.selectors.telling import StopToTell, stops_to_tell, telling_settings_get, told_in_vain
from routing.dispatch.services import on_our_way, plan_tell, telling_settings_set
from routing.plans.models import DayPlan
from routing.plans.selectors import day_plan_by_id
from shared import clock
from shared.api_kit.permissions import OfficeOnly, SignedIn
from shared.outbox.models import MessageState
from shared.outbox.services import dispatch_soon


class ToldOutput(serializers.Serializer[Any]):
    job = serializers.IntegerField(source="job_id")
    kind = serializers.ChoiceField(choices=ToldKind.choices)
    opens_at = serializers.DateTimeField()
    closes_at = serializers.DateTimeField()
    message = serializers.IntegerField(source="message_id")
    message_state = serializers.ChoiceField(source="message.state", choices=MessageState.choices)


@extend_schema(
    operation_id="stop_on_our_way",
    request=None,
    responses={200: ToldOutput},
    summary="Tell the customer of a stop that the crew is on its way",
    description="Once for each stop and day; the same call again is answered with what was told.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def coming(request: Request, stop_id: int) -> Response:
    now = clock.now()
    stop = sent_stop_get(pk=stop_id, user=request.user, now=now)
    return Response(ToldOutput(on_our_way(stop=stop, now=now, actor=request.user)).data)


class StopToTellOutput(serializers.Serializer[Any]):
    stop = serializers.IntegerField(source="stop.pk")
    job = serializers.IntegerField(source="stop.job_id")
    opens_at = serializers.SerializerMethodField(help_text="What to tell now: the window's begin")
    closes_at = serializers.SerializerMethodField(help_text="and its end")
    news = serializers.CharField(
        allow_blank=True, help_text="`first`: not told yet; `changed`: another time was told; empty: nothing to tell"
    )
    channel = serializers.CharField(source="channel.channel", allow_blank=True, help_text="empty: call them")
    told = ToldOutput(allow_null=True, help_text="the newest that the customer heard")

    def get_opens_at(self, entry: StopToTell) -> datetime:
        return entry.window[0]

    def get_closes_at(self, entry: StopToTell) -> datetime:
        return entry.window[1]


class TellingOutput(serializers.Serializer[Any]):
    stops = StopToTellOutput(many=True)
    in_vain = ToldOutput(many=True, help_text="told that a crew comes, and none does any more: call them")
    written = serializers.IntegerField(help_text="messages that this call wrote")


class Telling(APIView):
    """The customers of a day that was sent out."""

    permission_classes = (OfficeOnly,)

    @extend_schema(
        operation_id="day_plan_telling_get", responses=TellingOutput, summary="Who is told when the crew comes, and was"
    )
    def get(self, request: Request, plan_id: int) -> Response:
        return _telling(day_plan_by_id(plan_id=plan_id), written=0)

    @extend_schema(
        operation_id="day_plan_tell",
        request=None,
        responses=TellingOutput,
        summary="Tell the customers of a day now",
        description="Without waiting for the hour of the day before. Repeated, it writes only what has changed.",
    )
    def post(self, request: Request, plan_id: int) -> Response:
        plan = day_plan_by_id(plan_id=plan_id)
        written = plan_tell(plan=plan, now=clock.now(), at_once=True)
        dispatch_soon()
        return _telling(plan, written=written)


def _telling(plan: DayPlan, *, written: int) -> Response:
    stops = stops_to_tell(plan=plan, now=clock.now())
    return Response(TellingOutput({"stops": stops, "in_vain": told_in_vain(plan=plan), "written": written}).data)


class TellingSettingsOutput(serializers.ModelSerializer[TellingSettings]):
    class Meta:
        model = TellingSettings
        fields = ("day_before", "from_hour", "on_our_way")


class TellingSettingsView(APIView):
    """Whether and when customers are told."""

    permission_classes = (OfficeOnly,)

    @extend_schema(
        operation_id="telling_settings_get",
        responses=TellingSettingsOutput,
        summary="Whether and when customers are told that a crew comes",
    )
    def get(self, request: Request) -> Response:
        return Response(TellingSettingsOutput(telling_settings_get()).data)

    @extend_schema(
        operation_id="telling_settings_set",
        request=TellingSettingsOutput,
        responses=TellingSettingsOutput,
        summary="Change that; what is left out stays",
    )
    def patch(self, request: Request) -> Response:
        body = TellingSettingsOutput(telling_settings_get(), data=request.data, partial=True)
        body.is_valid(raise_exception=True)
        return Response(TellingSettingsOutput(telling_settings_set(actor=request.user, **body.validated_data)).data)


urlpatterns = [
    path("stops/<row:stop_id>/on-our-way/", coming, name="api_stop_on_our_way"),
    path("day-plans/<row:plan_id>/telling/", Telling.as_view(), name="api_telling"),
    path("telling-settings/", TellingSettingsView.as_view(), name="api_telling_settings"),
]
