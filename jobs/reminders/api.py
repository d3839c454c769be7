"""The due list and reminders for programs."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.customers.models import Language
from jobs.reminders.answers import answer_settings_get, answer_settings_set, due_hold_end
from jobs.reminders.brought import brought, brought_json
from jobs.reminders.domain.own_words import LONGEST, CauseKind
from jobs.reminders.drafting import MOST_AT_ONCE
from jobs.reminders.forms import DEFAULT_WEEKS, MOST_KEPT_HOURS, MOST_WEEKS
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import AnswerKind, AnswerSettings, DueHold, InboundText, OwnWords, ReminderAnswer
from jobs.reminders.narrowing import NEVER, DueWish
from jobs.reminders.own_words import own_words_set
from jobs.reminders.proposal import proposal_json
from jobs.reminders.rules import RULES
from jobs.reminders.selectors import DueItem, answer_list, due_item_json, hold_list, inbound_texts
from jobs.reminders.services import reminders_queue
from routing.plans.selectors.filling import proposal_of
from shared import clock
from shared.api_kit.permissions import OfficeOnly, OwnerOnly
from shared.company.selectors import company_get
from shared.outbox.models import Channel
from shared.web.present import today_here

DUE_STATES = ("ready", "waits", "reminded", "no_channel")


class DueQuery(serializers.Serializer[Any]):
    lead_days = serializers.IntegerField(required=False, min_value=0, max_value=730, help_text="default: the company's")
    state = serializers.ChoiceField(required=False, choices=DUE_STATES)
    kind = serializers.CharField(required=False, max_length=30, help_text="code of the service, or `chalk`")
    channel = serializers.ChoiceField(required=False, choices=Channel.choices)
    search = serializers.CharField(required=False, max_length=80, help_text="in name, address and reason")
    silent_days = serializers.IntegerField(
        required=False, min_value=NEVER, max_value=3660, help_text="no reminder for so many days; -1: none ever"
    )
    price_from_cents = serializers.IntegerField(required=False, min_value=0, max_value=10_000_000)
    minutes_up_to = serializers.IntegerField(required=False, min_value=0, max_value=6000)
    chance_from_percent = serializers.IntegerField(required=False, min_value=0, max_value=100)


class DueItemOutput(serializers.Serializer[Any]):
    """A line of the due list."""

    key = serializers.CharField(help_text="names this due thing when reminders are queued")
    property_id = serializers.IntegerField()
    customer_id = serializers.IntegerField()
    customer_name = serializers.CharField()
    address = serializers.CharField()
    kind = serializers.CharField(help_text="code of the service, or `chalk`")
    service_name = serializers.CharField()
    due_on = serializers.DateField()
    reason = serializers.CharField()
    wall_ids = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="the walls that price and minutes are for: of chalk those that passed the limit or pass it within "
        "the lead time; empty: the whole house",
    )
    language = serializers.ChoiceField(choices=Language.choices)
    last_contact_on = serializers.DateField(allow_null=True, help_text="day of the last reminder to the customer")
    state = serializers.ChoiceField(choices=DUE_STATES)
    channel = serializers.ChoiceField(choices=Channel.choices, allow_null=True)
    consent = serializers.CharField(allow_blank=True, help_text="what allows a message by this channel")
    why_not = serializers.CharField(allow_blank=True, help_text="what stands in the way of a reminder now")
    price_cents = serializers.IntegerField(allow_null=True, help_text="by the card of today; null: after a look")
    crew_minutes = serializers.IntegerField(help_text="that a yes takes")
    chance_percent = serializers.IntegerField(allow_null=True, help_text="of a yes, learned by kind and channel")
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)

    def to_representation(self, instance: DueItem) -> dict[str, Any]:
        return due_item_json(instance)


@extend_schema_view(
    get=extend_schema(
        operation_id="due_list",
        parameters=[DueQuery],
        summary="Properties that are due, the earliest first",
        description=(
            "Due by the interval of a service, by a chalk reading at the owner's limit or above without a removal "
            "since, or by a forecast that a wall passes that limit."
        ),
    )
)
class DueList(generics.ListAPIView[Any]):
    permission_classes = (OfficeOnly,)
    serializer_class = DueItemOutput

    def get_queryset(self) -> Any:
        query = DueQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        wanted = dict(query.validated_data)
        today, lead_days = clock.local_date(company_get().timezone, clock.now()), wanted.pop("lead_days", None)
        return DueSheet(today=today, lead_days=lead_days, wish=DueWish(**wanted))


class WeeksQuery(serializers.Serializer[Any]):
    weeks = serializers.IntegerField(required=False, min_value=1, max_value=MOST_WEEKS, default=DEFAULT_WEEKS)
    keep_hours = serializers.IntegerField(
        required=False, min_value=0, max_value=MOST_KEPT_HOURS, default=0, help_text="crew-hours to keep for calls"
    )


class ProposedOutput(serializers.Serializer[Any]):
    key = serializers.CharField()
    minutes = serializers.IntegerField(help_text="crew-minutes that a yes takes")
    chance_percent = serializers.IntegerField()
    why = serializers.CharField()


class ProposalOutput(serializers.Serializer[Any]):
    room_minutes = serializers.IntegerField(help_text="crew-minutes of the coming weeks that reminders may fill")
    undated_minutes = serializers.IntegerField(help_text="taken off: agreed work that has no day yet")
    kept_minutes = serializers.IntegerField(help_text="taken off: kept for calls")
    pending_minutes = serializers.IntegerField(help_text="expected of those who were asked and may still answer")
    expected_minutes = serializers.IntegerField()
    low_minutes = serializers.IntegerField(help_text="with 80 % probability expected and pending work come to between")
    high_minutes = serializers.IntegerField(help_text="these two")
    overflow_percent = serializers.FloatField(help_text="chance that more comes than fits")
    chosen = ProposedOutput(many=True)
    waiting = ProposedOutput(many=True)
    not_weighed = serializers.IntegerField(help_text="may be reminded as well, and are less urgent than all of these")


@extend_schema(
    operation_id="due_list_proposal",
    parameters=[WeeksQuery],
    responses=ProposalOutput,
    summary="Who should hear now, so that the answers fill the crews' free hours and no more",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def proposal(request: Request) -> Response:
    query = WeeksQuery(data=request.query_params)
    query.is_valid(raise_exception=True)
    return Response(proposal_json(proposal_of(today=today_here(), now=clock.now(), **query.validated_data)))


class OwnWordsInput(serializers.Serializer[Any]):
    kind = serializers.CharField(max_length=30, help_text="code of the service, or `chalk`")
    cause = serializers.ChoiceField(choices=[each.value for each in CauseKind], help_text="what makes it due")
    language = serializers.ChoiceField(choices=Language.choices)
    channel = serializers.ChoiceField(choices=Channel.choices)
    words = serializers.CharField(
        max_length=LONGEST, allow_blank=True, help_text="with fields like {street}; empty brings our own words back"
    )


class OwnWordsView(generics.GenericAPIView[OwnWords]):
    serializer_class = OwnWordsInput
    queryset = OwnWords.objects.none()
    pagination_class = None
    problem_statuses = (422,)

    def get_permissions(self) -> list[BasePermission]:
        return [OfficeOnly()] if self.request.method == "GET" else [OwnerOnly()]

    @extend_schema(
        operation_id="own_words_list",
        responses=OwnWordsInput(many=True),
        summary="The owner's own sentences in reminders; for what is not listed ours stand",
    )
    def get(self, request: Request) -> Response:
        return Response(OwnWordsInput(OwnWords.objects.all(), many=True).data)

    @extend_schema(operation_id="own_words_set", responses={204: None}, summary="Keep a sentence, or bring ours back")
    def put(self, request: Request) -> Response:
        body = OwnWordsInput(data=request.data)
        body.is_valid(raise_exception=True)
        own_words_set(actor=request.user, now=clock.now(), **body.validated_data)
        return Response(status=204)


class RuleOutput(serializers.Serializer[Any]):
    about = serializers.CharField()
    does = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    checked_on = serializers.DateField(allow_null=True, help_text="null: our own choice, no law")


@extend_schema(
    operation_id="message_rules",
    responses=RuleOutput(many=True),
    summary="The rules that messages to customers follow; not legal advice",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def rules(request: Request) -> Response:
    return Response([rule.as_json() for rule in RULES])


class BroughtQuery(serializers.Serializer[Any]):
    since = serializers.DateField(required=False, help_text="leave out campaigns of months before this date")


class GainOutput(serializers.Serializer[Any]):
    value = serializers.FloatField()
    low = serializers.FloatField(help_text="of the interval with 90 % confidence")
    high = serializers.FloatField()


class ArmOutput(serializers.Serializer[Any]):
    people = serializers.IntegerField()
    booked = serializers.IntegerField()


class ComparedOutput(serializers.Serializer[Any]):
    reminded = ArmOutput()
    held_back = ArmOutput()


class CampaignOutput(serializers.Serializer[Any]):
    campaign = serializers.CharField(allow_null=True, help_text="month of the due dates, `2026-05`; null: all together")
    written = serializers.IntegerField(help_text="people to whom a message was written; the counts below are of them")
    sent = serializers.IntegerField()
    delivered = serializers.IntegerField()
    answered = serializers.IntegerField()
    booked = serializers.IntegerField()
    washed = serializers.IntegerField()
    opted_out = serializers.IntegerField()
    earned_cents = serializers.IntegerField()
    earned_cents_per_crew_hour = serializers.IntegerField(allow_null=True)
    earned_low_cents_per_crew_hour = serializers.IntegerField(allow_null=True, help_text="90 % interval")
    earned_high_cents_per_crew_hour = serializers.IntegerField(allow_null=True)
    compared = ComparedOutput(help_text="those who took part in the draw and had their time to answer")
    gain = GainOutput(allow_null=True, help_text="share who booked, reminded less held back")
    more_jobs = GainOutput(allow_null=True, help_text="the gain in people who booked")


class BroughtOutput(serializers.Serializer[Any]):
    campaigns = CampaignOutput(many=True)
    total = CampaignOutput()


@extend_schema(
    operation_id="reminders_brought",
    parameters=[BroughtQuery],
    responses=BroughtOutput,
    summary="What reminders brought by campaign of due dates, against those who were held back",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def brought_view(request: Request) -> Response:
    query = BroughtQuery(data=request.query_params)
    query.is_valid(raise_exception=True)
    return Response(brought_json(brought(now=clock.now(), **query.validated_data)))


class QueueInput(serializers.Serializer[Any]):
    keys = serializers.ListField(
        child=serializers.CharField(max_length=80), min_length=1, max_length=MOST_AT_ONCE,
        help_text="of the due things to write about",
    )  # fmt: skip
    hold_back = serializers.BooleanField(
        default=True, help_text="false where these customers asked to hear: then nobody is held back"
    )


class SkippedOutput(serializers.Serializer[Any]):
    key = serializers.CharField()
    reason = serializers.CharField()


class QueueOutput(serializers.Serializer[Any]):
    messages = serializers.ListField(child=serializers.IntegerField(), help_text="ids of the messages written")
    reminders = serializers.IntegerField()
    held_back = serializers.IntegerField(help_text="customers drawn for the held-back group")
    skipped = SkippedOutput(many=True)


@extend_schema(
    operation_id="reminders_queue",
    request=QueueInput,
    responses={201: QueueOutput},
    summary="Write reminders about due things",
    description="One message to each customer. What was written about before is skipped, so repeating is safe.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def queue(request: Request) -> Response:
    wanted = QueueInput(data=request.data)
    wanted.is_valid(raise_exception=True)
    result = reminders_queue(actor=request.user, now=clock.now(), **wanted.validated_data)
    return Response(result.as_json(), status=201)


class InboundTextOutput(serializers.ModelSerializer[InboundText]):
    is_read = serializers.SerializerMethodField(help_text="Whether somebody has read it")

    class Meta:
        model = InboundText
        fields = ("id", "sender_e164", "body", "meaning", "customer", "at", "is_read")
        read_only_fields = fields

    def get_is_read(self, text: InboundText) -> bool:
        return hasattr(text, "read")


@extend_schema_view(
    get=extend_schema(operation_id="inbound_text_list", summary="Texts that came in, unread ones first")
)
class InboundTexts(generics.ListAPIView[InboundText]):
    permission_classes = (OfficeOnly,)
    serializer_class = InboundTextOutput
    queryset = InboundText.objects.none()

    def get_queryset(self) -> QuerySet[InboundText]:
        return inbound_texts()


class ReminderAnswerOutput(serializers.ModelSerializer[ReminderAnswer]):
    class Meta:
        model = ReminderAnswer
        fields = ("id", "customer", "written_on", "kind", "day", "ask_again_on", "note", "jobs", "at")
        read_only_fields = fields


class AnswerQuery(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=AnswerKind.choices, required=False)


@extend_schema_view(
    get=extend_schema(
        operation_id="reminder_answer_list",
        parameters=[AnswerQuery],
        summary="What homeowners answered to reminders, newest first",
    )
)
class Answers(generics.ListAPIView[ReminderAnswer]):
    permission_classes = (OfficeOnly,)
    serializer_class = ReminderAnswerOutput
    queryset = ReminderAnswer.objects.none()

    def get_queryset(self) -> QuerySet[ReminderAnswer]:
        query = AnswerQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return answer_list(**query.validated_data)


class AnswerSettingsOutput(serializers.ModelSerializer[AnswerSettings]):
    class Meta:
        model = AnswerSettings
        fields = ("makes",)
        extra_kwargs = {"makes": {"required": True}}  # noqa: RUF012


class AnswerSettingsView(APIView):
    """What a yes becomes: the office reads it, the owner changes it."""

    def get_permissions(self) -> list[BasePermission]:
        return [OwnerOnly() if self.request.method == "PUT" else OfficeOnly()]

    @extend_schema(
        operation_id="answer_settings_get", responses=AnswerSettingsOutput, summary="What a yes to a reminder becomes"
    )
    def get(self, request: Request) -> Response:
        return Response(AnswerSettingsOutput(answer_settings_get()).data)

    @extend_schema(
        operation_id="answer_settings_set",
        request=AnswerSettingsOutput,
        responses=AnswerSettingsOutput,
        summary="Change what a yes to a reminder becomes",
    )
    def put(self, request: Request) -> Response:
        body = AnswerSettingsOutput(data=request.data)
        body.is_valid(raise_exception=True)
        return Response(AnswerSettingsOutput(answer_settings_set(actor=request.user, **body.validated_data)).data)


class DueHoldOutput(serializers.ModelSerializer[DueHold]):
    class Meta:
        model = DueHold
        fields = ("id", "property", "until", "reason", "at")
        read_only_fields = fields


@extend_schema_view(
    get=extend_schema(
        operation_id="due_hold_list",
        summary="Properties that are not reminded until a day, or (null) until the office says so",
    )
)
class Holds(generics.ListAPIView[DueHold]):
    permission_classes = (OfficeOnly,)
    serializer_class = DueHoldOutput
    queryset = DueHold.objects.none()

    def get_queryset(self) -> QuerySet[DueHold]:
        return hold_list()


@extend_schema(operation_id="due_hold_end", responses={204: None}, summary="Let a property be reminded again")
@api_view(["DELETE"])
@permission_classes([OfficeOnly])
def hold(request: Request, hold_id: int) -> Response:
    due_hold_end(hold_id=hold_id, actor=request.user)
    return Response(status=204)


urlpatterns = [
    path("texts/", InboundTexts.as_view(), name="api_texts"),
    path("due-list/", DueList.as_view(), name="api_due_list"),
    path("due-list/proposal/", proposal, name="api_due_proposal"),
    path("reminders/words/", OwnWordsView.as_view(), name="api_reminder_words"),
    path("reminders/rules/", rules, name="api_reminder_rules"),
    path("reminders/", queue, name="api_reminders"),
    path("reminders/brought/", brought_view, name="api_reminders_brought"),
    path("reminders/answers/", Answers.as_view(), name="api_reminder_answers"),
    path("reminders/answer-settings/", AnswerSettingsView.as_view(), name="api_answer_settings"),
    path("reminders/holds/", Holds.as_view(), name="api_due_holds"),
    path("reminders/holds/<row:hold_id>/", hold, name="api_due_hold"),
]
