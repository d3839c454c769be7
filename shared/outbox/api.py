"""The outbox for programs: what waits, what went, what nobody knows."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import generics, serializers

from shared.api_kit.permissions import OfficeOnly
from shared.outbox.models import Channel, Message, MessageState
from shared.outbox.selectors import message_list


class MessageQuery(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=MessageState.choices, required=False)
    channel = serializers.ChoiceField(choices=Channel.choices, required=False)


class MessageOutput(serializers.ModelSerializer[Message]):
    class Meta:
        model = Message
        fields = (
            "id", "purpose", "channel", "recipient", "recipient_name", "language", "subject", "body", "state",
            "not_before", "not_after", "attempts", "created_at", "claimed_at", "finished_at", "provider_reference",
            "problem",
        )  # fmt: skip
        read_only_fields = fields


@extend_schema_view(
    get=extend_schema(
        operation_id="message_list",
        parameters=[MessageQuery],
        summary="Messages to customers, newest first",
        description="A message in the state `sending` was handed over and not answered for yet: its result is unknown.",
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


urlpatterns = [path("messages/", Messages.as_view(), name="api_message_list")]
