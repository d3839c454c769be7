"""The outbox for programs: what waits, what went, what nobody knows; the decisions of the office, and the switch."""

from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from shared import clock
from shared.api_kit.permissions import OfficeOnly
from shared.outbox.decisions import BY_CODE, decisions_meaning, decisions_open
from shared.outbox.delivery import blocked_address_open
from shared.outbox.models import BlockedAddress, Channel, Message, MessageState, SendingLimits, SendingSwitch
from shared.outbox.selectors import (
    blocked_list,
    is_unknown,
    message_counts,
    message_list,
    sending_limits_get,
    sending_switch_get,
    unknown_list,
)
from shared.outbox.services import dispatch_soon, sending_limits_set, sending_switch_set


class MessageQuery(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=MessageState.choices, required=False)
    channel = serializers.ChoiceField(choices=Channel.choices, required=False)
    purpose = serializers.CharField(max_length=30, required=False, help_text="reminder, estimate, coming, notice, ...")


class MessageOutput(serializers.ModelSerializer[Message]):
    result_unknown = serializers.SerializerMethodField(help_text="Handed over and never answered for: decide about it")
    decisions = serializers.SerializerMethodField(help_text="What may be decided about it now, most likely first")

    class Meta:
        model = Message
        fields = (
            "id", "purpose", "channel", "recipient", "recipient_name", "language", "subject", "body", "state",
            "result_unknown", "decisions", "not_before", "not_after", "attempts", "created_at", "claimed_at",
            "finished_at", "delivered_at", "provider_reference", "problem",
        )  # fmt: skip
        read_only_fields = fields

    def get_result_unknown(self, message: Message) -> bool:
        return is_unknown(message, now=clock.now())

    def get_decisions(self, message: Message) -> list[str]:
        return [decision.code for decision in decisions_open(message, now=clock.now())]


@extend_schema_view(
    get=extend_schema(
        operation_id="message_list",
        parameters=[MessageQuery],
        summary="Messages to customers, newest first",
        description="One in the state `sending` is being handed over now, or its result is unknown.",
    )
)
class Messages(generics.ListAPIView[Message]):
    permission_classes = (OfficeOnly,)
    serializer_class = MessageOutput
    queryset = Message.objects.none()

    def get_queryset(self) -> QuerySet[Message]:
        query = MessageQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return message_list(**query.validated_data)


@extend_schema_view(
    get=extend_schema(
        operation_id="message_unknown_list",
        summary="Messages of unknown result, the oldest first",
        description="Handed over and never answered for: perhaps they arrived. None is sent again by itself.",
    )
)
class UnknownMessages(generics.ListAPIView[Message]):
    permission_classes = (OfficeOnly,)
    serializer_class = MessageOutput
    queryset = Message.objects.none()

    def get_queryset(self) -> QuerySet[Message]:
        return unknown_list(now=clock.now())


@extend_schema(operation_id="message_get", responses=MessageOutput, summary="One message, word for word")
@api_view(["GET"])
@permission_classes([OfficeOnly])
def message(request: Request, message_id: int) -> Response:
    return Response(MessageOutput(get_object_or_404(Message, pk=message_id)).data)


class MessageDecisionInput(serializers.Serializer[Any]):
    decision = serializers.ChoiceField(choices=tuple(BY_CODE), help_text=decisions_meaning())
    reason = serializers.CharField(max_length=200)


@extend_schema(
    operation_id="message_decide",
    request=MessageDecisionInput,
    responses=MessageOutput,
    summary="Decide about a message",
    description="Answers 409 where the message is in another state by now.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def decide(request: Request, message_id: int) -> Response:
    body = MessageDecisionInput(data=request.data)
    body.is_valid(raise_exception=True)
    get_object_or_404(Message, pk=message_id)
    decision = BY_CODE[body.validated_data["decision"]]
    reason = body.validated_data["reason"]
    row = decision.take(message_id=message_id, reason=reason, actor=request.user, now=clock.now())
    if row.state == MessageState.WAITING:
        dispatch_soon()
    return Response(MessageOutput(row).data)


class SwitchOutput(serializers.ModelSerializer[SendingSwitch]):
    changed_by = serializers.CharField(allow_null=True, help_text="null: by a command, or never changed")

    class Meta:
        model = SendingSwitch
        fields = ("is_on", "reason", "changed_at", "changed_by")
        read_only_fields = fields


class SwitchInput(serializers.Serializer[Any]):
    is_on = serializers.BooleanField(help_text="false: nothing leaves any more, of no kind")
    reason = serializers.CharField(max_length=200)


class LimitsOutput(serializers.ModelSerializer[SendingLimits]):
    class Meta:
        model = SendingLimits
        fields = ("mails_per_minute", "texts_per_minute", "most_per_week")
        extra_kwargs = {name: {"min_value": 1, "max_value": 32_767} for name in fields}  # noqa: RUF012


class CountsOutput(serializers.Serializer[Any]):
    waiting = serializers.IntegerField()
    sending = serializers.IntegerField()
    sent = serializers.IntegerField()
    failed = serializers.IntegerField()
    dropped = serializers.IntegerField()
    unknown = serializers.IntegerField(help_text="of those that are `sending`")


class SendingOutput(serializers.Serializer[Any]):
    switch = SwitchOutput()
    limits = LimitsOutput()
    counts = CountsOutput()


@extend_schema(
    operation_id="sending_get", responses=SendingOutput, summary="The switch, the limits, how many are in each state"
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def sending(request: Request) -> Response:
    return _sending()


@extend_schema(
    operation_id="sending_switch_set",
    request=SwitchInput,
    responses=SendingOutput,
    summary="Stop all sending at once, or allow it again",
    description="While it is off messages wait; those that get too late are dropped.",
)
@api_view(["PUT"])
@permission_classes([OfficeOnly])
def switch(request: Request) -> Response:
    body = SwitchInput(data=request.data)
    body.is_valid(raise_exception=True)
    sending_switch_set(actor=request.user, now=clock.now(), **body.validated_data)
    return _sending()


@extend_schema(
    operation_id="sending_limits_set",
    request=LimitsOutput,
    responses=SendingOutput,
    summary="Change how fast messages leave, and how many a week go to one address; what is left out stays",
)
@api_view(["PATCH"])
@permission_classes([OfficeOnly])
def limits(request: Request) -> Response:
    body = LimitsOutput(data=request.data, partial=True)
    body.is_valid(raise_exception=True)
    sending_limits_set(actor=request.user, **body.validated_data)
    return _sending()


def _sending() -> Response:
    counts = message_counts() | {"unknown": unknown_list(now=clock.now()).count()}
    found = {"switch": sending_switch_get(), "limits": sending_limits_get(), "counts": counts}
    return Response(SendingOutput(found).data)


class BlockedOutput(serializers.ModelSerializer[BlockedAddress]):
    class Meta:
        model = BlockedAddress
        fields = ("id", "channel", "address", "kind", "detail", "since", "opened_at")
        read_only_fields = fields


class OpenAddressInput(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


@extend_schema_view(
    get=extend_schema(operation_id="blocked_address_list", summary="Addresses that nothing goes to, newest first")
)
class BlockedAddresses(generics.ListAPIView[BlockedAddress]):
    permission_classes = (OfficeOnly,)
    serializer_class = BlockedOutput
    queryset = BlockedAddress.objects.none()

    def get_queryset(self) -> QuerySet[BlockedAddress]:
        return blocked_list()


@extend_schema(
    operation_id="blocked_address_open",
    request=OpenAddressInput,
    responses=BlockedOutput,
    summary="Let messages go to an address again",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def blocked_open(request: Request, blocked_id: int) -> Response:
    body = OpenAddressInput(data=request.data)
    body.is_valid(raise_exception=True)
    get_object_or_404(BlockedAddress, pk=blocked_id)
    row = blocked_address_open(blocked_id=blocked_id, actor=request.user, now=clock.now(), **body.validated_data)
    return Response(BlockedOutput(row).data)


urlpatterns = [
    path("messages/", Messages.as_view(), name="api_message_list"),
    path("messages/unknown/", UnknownMessages.as_view(), name="api_message_unknown_list"),
    path("messages/<row:message_id>/", message, name="api_message"),
    path("messages/<row:message_id>/decision/", decide, name="api_message_decide"),
    path("sending/", sending, name="api_sending"),
    path("sending/switch/", switch, name="api_sending_switch"),
    path("sending/limits/", limits, name="api_sending_limits"),
    path("blocked-addresses/", BlockedAddresses.as_view(), name="api_blocked_address_list"),
    path("blocked-addresses/<row:blocked_id>/open/", blocked_open, name="api_blocked_address_open"),
]
