"""Taxes and rate cards for programs: what is in force, and the next card from its draft to its first day."""

from dataclasses import asdict
from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from pricing.catalogue.card_imports import rows_import
from pricing.catalogue.choices import CardState
from pricing.catalogue.domain.card_rows import in_order
from pricing.catalogue.models import RateCard, TaxRate
from pricing.catalogue.selectors import (
    card_content,
    card_version_get,
    card_versions,
    draft_card,
    rate_card_on,
    tax_list,
)
from pricing.catalogue.services import card_withdraw, draft_begin, draft_drop, draft_put_in_force, draft_set, tax_set
from pricing.estimates.views.previewing import card_preview, past_year
from shared import clock
from shared.api_kit.etags import expected_version, with_etag
from shared.api_kit.permissions import OfficeOnly, OwnerOnly
from shared.api_kit.schema import IF_MATCH
from shared.errors import NotFound, Refused
from shared.web.present import today_here


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
        return Response(TaxBody(tax_set(**data, today=today_here(), actor=request.user)).data)


class CardRowBody(serializers.Serializer[Any]):
    """One row: a part (`rate`, `factor`, `material`, `use`, `surcharge`) and that part's columns, as in the file."""

    part = serializers.CharField()
    service = serializers.CharField(required=False, allow_blank=True)
    name = serializers.CharField(required=False, allow_blank=True)
    price_cents_per_100_units = serializers.IntegerField(required=False)
    minimum_price_cents = serializers.IntegerField(required=False)
    materials_cents_per_100_units = serializers.IntegerField(required=False)
    setup_minutes = serializers.IntegerField(required=False)
    units_per_crew_hour = serializers.IntegerField(required=False)
    units_per_crew_hour_high = serializers.IntegerField(required=False)
    kind = serializers.CharField(required=False)
    level = serializers.CharField(required=False, allow_blank=True)
    percent = serializers.IntegerField(required=False)
    cost_cents_per_gallon = serializers.IntegerField(required=False)
    volume_ml_per_100_units = serializers.IntegerField(required=False)
    figure = serializers.IntegerField(required=False)
    when = serializers.CharField(required=False)


class CardOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    is_draft = serializers.BooleanField()
    effective_from = serializers.DateField()
    note = serializers.CharField()
    version = serializers.IntegerField()
    rows = CardRowBody(many=True)


class CardInput(serializers.Serializer[Any]):
    rows = serializers.ListField(child=serializers.DictField(), max_length=2_000)
    dry_run = serializers.BooleanField(default=False)


class CardDifferenceOutput(serializers.Serializer[Any]):
    part = serializers.CharField()
    of = serializers.CharField()
    column = serializers.CharField()
    before = serializers.JSONField(allow_null=True)
    after = serializers.JSONField(allow_null=True)


class CardChangeOutput(serializers.Serializer[Any]):
    dry_run = serializers.BooleanField()
    differences = CardDifferenceOutput(many=True)


class CardVersionOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField(source="card.pk")
    effective_from = serializers.DateField(source="card.effective_from")
    state = serializers.ChoiceField(CardState.choices)
    withdrawn_at = serializers.DateTimeField(source="card.withdrawn_at", allow_null=True)
    note = serializers.CharField(source="card.note")
    version = serializers.IntegerField(source="card.version")


class WithdrawInput(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class InForceInput(serializers.Serializer[Any]):
    effective_from = serializers.DateField()
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class CardFiguresOutput(serializers.Serializer[Any]):
    minutes = serializers.IntegerField()
    card_minutes = serializers.IntegerField(help_text="By the card alone; minutes that were learnt follow it later")
    card_price_cents = serializers.IntegerField(help_text="By the card alone; the hours may ask more")
    price_cents = serializers.IntegerField()
    earned_cents_per_crew_hour = serializers.IntegerField(allow_null=True)


class PreviewRowOutput(serializers.Serializer[Any]):
    job = serializers.IntegerField()
    estimate = serializers.IntegerField(allow_null=True, help_text="null: a lead without an estimate")
    place = serializers.CharField()
    before = CardFiguresOutput(allow_null=True)
    after = CardFiguresOutput(allow_null=True)
    is_sent = serializers.BooleanField()
    changes = serializers.BooleanField()
    problem = serializers.CharField(allow_blank=True)


class PastSumsOutput(serializers.Serializer[Any]):
    service = serializers.CharField()
    jobs = serializers.IntegerField()
    before_cents = serializers.IntegerField(allow_null=True, help_text="null: the card does not have the service")
    after_cents = serializers.IntegerField(allow_null=True)


def _card_answer(card: RateCard, status: int = 200) -> Response:
    data = {
        "id": card.pk,
        "is_draft": card.is_draft,
        "effective_from": card.effective_from,
        "note": card.note,
        "version": card.version,
        "rows": in_order(card_content(card=card)),
    }
    return with_etag(Response(CardOutput(data).data, status=status), card)


def _draft() -> RateCard:
    """Raises NotFound."""
    card = draft_card()
    if card is None:
        raise NotFound("Nobody has begun the next rate card.")
    return card


class CardInForce(APIView):
    """The card that estimates are made with today."""

    permission_classes = (OfficeOnly,)
    problem_statuses = (404,)

    @extend_schema(operation_id="rate_card_get", responses=CardOutput, summary="The rate card in force, as rows")
    def get(self, request: Request) -> Response:
        card = rate_card_on(on=today_here())
        if card is None:
            raise NotFound("There is no rate card yet.")
        return _card_answer(card)


class CardVersions(APIView):
    """Every version of the card: past, in force, to come, withdrawn."""

    permission_classes = (OfficeOnly,)

    @extend_schema(
        operation_id="rate_card_list", responses=CardVersionOutput(many=True), summary="Every version of the rate card"
    )
    def get(self, request: Request) -> Response:
        return Response(CardVersionOutput(card_versions(today=today_here()), many=True).data)


class CardVersionOne(APIView):
    """One version."""

    permission_classes = (OfficeOnly,)
    problem_statuses = (404,)

    @extend_schema(
        operation_id="rate_card_version_get", responses=CardOutput, summary="One version as rows, with its ETag"
    )
    def get(self, request: Request, card_id: int) -> Response:
        return _card_answer(card_version_get(pk=card_id, today=today_here()).card)


class CardWithdrawal(APIView):
    """A card that has not begun, taken back; the owner's."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (404, 422)

    @extend_schema(
        operation_id="rate_card_withdraw", request=WithdrawInput, responses=CardVersionOutput, parameters=[IF_MATCH],
        summary="Withdraw a card that has not begun; it is kept",
    )  # fmt: skip
    def post(self, request: Request, card_id: int) -> Response:
        card = card_version_get(pk=card_id, today=today_here()).card
        version = expected_version(request, card)
        body = WithdrawInput(data=request.data)
        body.is_valid(raise_exception=True)
        card_withdraw(
            card=card, today=today_here(), now=clock.now(), expected_version=version, actor=request.user,
            **body.validated_data,
        )  # fmt: skip
        found = card_version_get(pk=card_id, today=today_here())
        return with_etag(Response(CardVersionOutput(found).data), found.card)


class CardDraft(APIView):
    """The next card while it is written; the owner's."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (404, 409, 422)

    @extend_schema(operation_id="rate_card_draft_get", responses=CardOutput, summary="The draft, with its ETag")
    def get(self, request: Request) -> Response:
        return _card_answer(_draft())

    @extend_schema(
        operation_id="rate_card_draft_begin", request=None, responses={201: CardOutput},
        summary="Begin a draft as a copy of the card in force, or open the one that there is",
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        return _card_answer(draft_begin(today=today_here(), actor=request.user), status=201)

    @extend_schema(
        operation_id="rate_card_draft_set", request=CardInput, responses=CardChangeOutput, parameters=[IF_MATCH],
        summary="Let the draft say these rows and nothing else",
        description="Answers 422 with every fault by its row (`faults`) and writes nothing then, nor with `dry_run`.",
    )  # fmt: skip
    def put(self, request: Request) -> Response:
        card = _draft()
        version = expected_version(request, card)
        body = CardInput(data=request.data)
        body.is_valid(raise_exception=True)
        rows, dry_run = body.validated_data["rows"], body.validated_data["dry_run"]
        found = rows_import(rows=list(enumerate(rows, start=1)), card=card)
        if found.faults:
            raise Refused("Some rows cannot be taken.", faults=[asdict(fault) for fault in found.faults])
        if not dry_run:
            draft_set(draft=card, content=found.content, expected_version=version, actor=request.user)
        return Response(CardChangeOutput({"dry_run": dry_run, "differences": found.differences}).data)

    @extend_schema(
        operation_id="rate_card_draft_drop", responses={204: None}, parameters=[IF_MATCH], summary="Throw it away"
    )
    def delete(self, request: Request) -> Response:
        card = _draft()
        draft_drop(draft=card, expected_version=expected_version(request, card), actor=request.user)
        return Response(status=204)


class CardDraftInForce(APIView):
    """The draft's first day."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (404, 409, 422)

    @extend_schema(
        operation_id="rate_card_draft_in_force", request=InForceInput, responses=CardOutput, parameters=[IF_MATCH],
        summary="Put the draft in force from today or a later day on",
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        card = _draft()
        version = expected_version(request, card)
        body = InForceInput(data=request.data)
        body.is_valid(raise_exception=True)
        return _card_answer(
            draft_put_in_force(
                draft=card, today=today_here(), expected_version=version, actor=request.user, **body.validated_data
            )
        )


class CardDraftPreview(APIView):
    """What the draft would change."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (404,)

    @extend_schema(
        operation_id="rate_card_draft_preview", responses=PreviewRowOutput(many=True),
        summary="Open leads and open estimates, by the card in force and by the draft",
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        return Response([PreviewRowOutput(row.as_json()).data for row in card_preview(draft=_draft())])


class CardDraftPastYear(APIView):
    """What the draft alone would have asked for the work of the last year."""

    permission_classes = (OwnerOnly,)
    problem_statuses = (404,)

    @extend_schema(
        operation_id="rate_card_draft_past_year", responses=PastSumsOutput(many=True),
        summary="The last year's work by service, at the card in force and at the draft",
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        return Response([PastSumsOutput(each.as_json()).data for each in past_year(draft=_draft())])


urlpatterns = [
    path("taxes/", Taxes.as_view(), name="api_taxes"),
    path("rate-card/", CardInForce.as_view(), name="api_rate_card"),
    path("rate-cards/", CardVersions.as_view(), name="api_rate_cards"),
    path("rate-cards/<row:card_id>/", CardVersionOne.as_view(), name="api_rate_card_version"),
    path("rate-cards/<row:card_id>/withdraw/", CardWithdrawal.as_view(), name="api_rate_card_withdraw"),
    path("rate-card/draft/", CardDraft.as_view(), name="api_rate_card_draft"),
    path("rate-card/draft/in-force/", CardDraftInForce.as_view(), name="api_rate_card_in_force"),
    path("rate-card/draft/preview/", CardDraftPreview.as_view(), name="api_rate_card_preview"),
    path("rate-card/draft/past-year/", CardDraftPastYear.as_view(), name="api_rate_card_past_year"),
]
