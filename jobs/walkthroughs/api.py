"""Walkthroughs, as they come from a phone's queue: what goes up twice is stored once; their notices and answers."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import api_view, parser_classes, permission_classes
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.customers.models import Language
from jobs.walkthroughs.inputs import MOST_PHOTOS, FindingInput, LeftOutInput, WalkthroughInput, WallInput
from jobs.walkthroughs.models import (
    Acknowledgement,
    Finding,
    FindingKind,
    LeftOutReason,
    NobodyHome,
    Notice,
    NoticePrint,
    Photo,
    SentHow,
    Walkthrough,
    WallFinding,
    WallLeftOut,
)
from jobs.walkthroughs.pictures import MOST_BYTES, require_size
from jobs.walkthroughs.selectors import Gate, start_gate
from jobs.walkthroughs.selectors.walkthroughs import walkthrough_list
from jobs.walkthroughs.services import (
    notice_acknowledge,
    notice_make,
    notice_send,
    photo_add,
    removal_open,
    start_override,
    walkthrough_record,
)
from jobs.walkthroughs.services.notices import LANGUAGES
from jobs.walkthroughs.views.access import job_for, notice_for, walkthrough_for
from shared import clock
from shared.api_kit.permissions import OfficeOnly, OwnerOnly, SignedIn
from shared.errors import NotFound
from shared.web.present import company_now

GREATEST = 2**63 - 1


class Where(serializers.Serializer[Any]):
    """A wall of the property by its id, or by its name for one that nobody took down yet."""

    is_needed = True
    wall = serializers.IntegerField(required=False, min_value=1, max_value=GREATEST)
    name = serializers.CharField(
        required=False, max_length=60, help_text="for a wall that nobody took down yet; instead of `wall`"
    )

    def validate(self, data: Any) -> Any:
        given = ("wall" in data) + ("name" in data)
        if given > 1 or self.is_needed and not given:
            raise serializers.ValidationError("Give either wall or name.")
        return data


class WallEntry(Where):
    spots = serializers.ListField(
        child=serializers.DecimalField(max_digits=2, decimal_places=1), min_length=1, max_length=9
    )


class LeftOutEntry(Where):
    reason = serializers.ChoiceField(choices=LeftOutReason.choices)


class FindingEntry(Where):
    is_needed = False
    kind = serializers.ChoiceField(choices=FindingKind.choices)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")


class PhotoQuery(Where):
    """Which wall a picture shows, where it shows one."""

    is_needed = False


class WalkthroughEntry(serializers.Serializer[Any]):
    key = serializers.UUIDField(help_text="made by the caller; the same key with the same content is stored once")
    job = serializers.IntegerField(min_value=1, max_value=GREATEST)
    walked_on = serializers.DateField(required=False, help_text="Default: today")
    days_since_rain = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=365, default=None
    )
    walls = WallEntry(many=True, required=False, default=[])
    left_out = LeftOutEntry(
        many=True, required=False, default=[], help_text="each wall of the property is here or in `walls`"
    )
    findings = FindingEntry(many=True, required=False, default=[])
    front_degrees = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=359,
        default=None,
        help_text="where the street side looks to; kept where the property does not say so yet",
    )
    photo_count = serializers.IntegerField(required=False, min_value=0, max_value=MOST_PHOTOS, default=0)
    video_url = serializers.CharField(required=False, allow_blank=True, max_length=300, default="")
    note = serializers.CharField(required=False, allow_blank=True, max_length=500, default="")


class WalkthroughOutput(serializers.Serializer[Walkthrough]):
    id = serializers.IntegerField()
    key = serializers.UUIDField()
    job = serializers.IntegerField(source="job_id")
    walked_on = serializers.DateField()


class PhotoOutput(serializers.Serializer[Photo]):
    id = serializers.IntegerField()
    key = serializers.UUIDField()
    digest = serializers.CharField()
    width_px = serializers.IntegerField()
    height_px = serializers.IntegerField()


class WallFindingOutput(serializers.Serializer[WallFinding]):
    wall = serializers.IntegerField(source="wall_id")
    name = serializers.CharField(source="wall.name")
    spots = serializers.ListField(child=serializers.FloatField())
    reading = serializers.DecimalField(source="reading.reading", max_digits=2, decimal_places=1)


class LeftOutOutput(serializers.Serializer[WallLeftOut]):
    wall = serializers.IntegerField(source="wall_id")
    name = serializers.CharField(source="wall.name")
    reason = serializers.ChoiceField(choices=LeftOutReason.choices)


class FindingOutput(serializers.Serializer[Finding]):
    kind = serializers.ChoiceField(choices=FindingKind.choices)
    wall = serializers.IntegerField(source="wall_id", allow_null=True)
    note = serializers.CharField()


class PrintOutput(serializers.Serializer[NoticePrint]):
    language = serializers.CharField()
    title = serializers.CharField()
    html = serializers.CharField(help_text="as it is shown")
    html_digest = serializers.CharField()
    pdf_digest = serializers.CharField()
    picture_digests = serializers.ListField(child=serializers.CharField())


class AcknowledgementOutput(serializers.Serializer[Acknowledgement]):
    typed_name = serializers.CharField()
    statement = serializers.CharField()
    language = serializers.CharField(source="shown.language")
    by_link = serializers.BooleanField()
    wants_removal = serializers.BooleanField()
    record_digest = serializers.CharField()
    at = serializers.DateTimeField()


class AbsenceOutput(serializers.Serializer[NobodyHome]):
    sent_how = serializers.ChoiceField(choices=SentHow.choices)
    note = serializers.CharField()
    message = serializers.IntegerField(source="message_id", allow_null=True)
    at = serializers.DateTimeField()


class NoticeOutput(serializers.Serializer[Notice]):
    id = serializers.IntegerField()
    made_at = serializers.DateTimeField()
    prints = PrintOutput(many=True)
    acknowledgement = serializers.SerializerMethodField()
    absences = AbsenceOutput(many=True)

    @extend_schema_field(AcknowledgementOutput(allow_null=True))
    def get_acknowledgement(self, notice: Notice) -> Any:
        answer = getattr(notice, "acknowledgement", None)
        return None if answer is None else AcknowledgementOutput(answer).data


class WalkthroughDetail(WalkthroughOutput):
    days_since_rain = serializers.IntegerField(allow_null=True)
    walls = WallFindingOutput(source="wall_findings", many=True)
    left_out = LeftOutOutput(many=True)
    findings = FindingOutput(many=True)
    photos = PhotoOutput(many=True)
    notices = NoticeOutput(many=True)
    video_url = serializers.CharField()
    note = serializers.CharField()


class GateOutput(serializers.Serializer[Gate]):
    state = serializers.CharField(
        help_text="not_needed, missing, nothing, unshown, open, acknowledged, nobody_home or overridden"
    )
    words = serializers.CharField()
    reason = serializers.CharField(help_text="why the owner lets it start")
    may_start = serializers.BooleanField(source="is_open")


class JobWalkthroughs(serializers.Serializer[Any]):
    gate = GateOutput()
    walkthroughs = WalkthroughDetail(many=True)


class AcknowledgeInput(serializers.Serializer[Any]):
    language = serializers.ChoiceField(choices=Language.choices, help_text="of the notice that was shown")
    typed_name = serializers.CharField(max_length=120)
    wants_removal = serializers.BooleanField(default=False)


class AbsenceInput(serializers.Serializer[Any]):
    sent_how = serializers.ChoiceField(choices=SentHow.choices)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")
    language = serializers.ChoiceField(
        choices=LANGUAGES, required=False, default="", help_text="Of the message; default: the customer's"
    )


class StartReason(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class RemovalOutput(serializers.Serializer[Any]):
    job = serializers.IntegerField()


class PictureBytes(BaseParser):
    """The body as it is, up to the bytes that a picture may have; its declared type counts for nothing."""

    media_type = "*/*"

    def parse(  # type: ignore[override]  # bytes, not fields
        self, stream: Any, media_type: str | None = None, context: Mapping[str, Any] | None = None
    ) -> bytes:
        request = (context or {})["request"]
        require_size(int(request.META.get("CONTENT_LENGTH") or 0))
        data: bytes = stream.read(MOST_BYTES + 1)
        require_size(len(data))
        return data


@extend_schema(
    operation_id="walkthrough_record",
    request=WalkthroughEntry,
    responses={200: WalkthroughOutput},
    summary="Write down a walkthrough",
    description="May be repeated. Answers 409 `recorded_already` where the key came before with other content.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def walkthroughs(request: Request) -> Response:
    body = WalkthroughEntry(data=request.data)
    body.is_valid(raise_exception=True)
    data = dict(body.validated_data)
    job = job_for(user=request.user, job_id=data.pop("job"), late=True)
    now = clock.now()
    data.setdefault("walked_on", clock.local_date(company_now().timezone, now))
    row = walkthrough_record(job=job, entry=_entry(data), now=now, actor=request.user)
    return Response(WalkthroughOutput(row).data)


def _entry(data: dict[str, Any]) -> WalkthroughInput:
    walls = tuple(WallInput(spots=tuple(row["spots"]), **_where(row)) for row in data.pop("walls"))
    left_out = tuple(LeftOutInput(reason=row["reason"], **_where(row)) for row in data.pop("left_out"))
    findings = tuple(FindingInput(row["kind"], row["note"], **_where(row)) for row in data.pop("findings"))
    return WalkthroughInput(walls=walls, left_out=left_out, findings=findings, **data)


def _where(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"wall_id": row.get("wall"), "name": row.get("name", "")}


@extend_schema(
    operation_id="walkthrough_photo_add",
    parameters=[PhotoQuery],
    request={"image/jpeg": OpenApiTypes.BINARY, "image/png": OpenApiTypes.BINARY},
    responses={200: PhotoOutput},
    summary="Keep a picture of a walkthrough",
    description="JPEG, PNG, WebP or HEIC up to 20 MB, told by content. May be repeated with the same key and bytes.",
)
@api_view(["PUT"])
@permission_classes([SignedIn])
@parser_classes([PictureBytes])
def photos(request: Request, key: uuid.UUID, photo_key: uuid.UUID) -> Response:
    row = walkthrough_for(user=request.user, key=key)
    where = PhotoQuery(data=request.query_params)
    where.is_valid(raise_exception=True)
    wall_id, name = where.validated_data.get("wall"), where.validated_data.get("name", "")
    data = request.data if isinstance(request.data, bytes) else b""
    now = clock.now()
    photo = photo_add(
        walkthrough=row, key=photo_key, data=data, now=now, wall_id=wall_id, wall_name=name, actor=request.user
    )
    return Response(PhotoOutput(photo).data)


@extend_schema(
    operation_id="job_walkthroughs",
    responses=JobWalkthroughs,
    summary="Walkthroughs of a job with their notices, and whether it may start",
)
@api_view(["GET"])
@permission_classes([SignedIn])
def job_walkthroughs(request: Request, job_id: int) -> Response:
    job = job_for(user=request.user, job_id=job_id)
    return Response(
        JobWalkthroughs({"gate": start_gate(job_id=job.pk), "walkthroughs": walkthrough_list(job=job)}).data
    )


@extend_schema(
    operation_id="notice_make",
    request=None,
    responses=NoticeOutput,
    summary="Make the notice of a job's newest walkthrough",
    description="The one that stands is returned. Answers 422 where nothing was found that has to be shown.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def notices(request: Request, job_id: int) -> Response:
    job = job_for(user=request.user, job_id=job_id)
    newest = job.walkthroughs.first()
    if newest is None:
        raise NotFound(_("First walk around the house and write down what you find."))
    row = notice_make(walkthrough=newest, now=clock.now(), actor=request.user)
    return Response(NoticeOutput(row).data)


@extend_schema(operation_id="notice_get", responses=NoticeOutput, summary="A notice as it was printed, and its answer")
@api_view(["GET"])
@permission_classes([SignedIn])
def notice(request: Request, notice_id: int) -> Response:
    return Response(NoticeOutput(notice_for(user=request.user, pk=notice_id)).data)


@extend_schema(
    operation_id="notice_acknowledge",
    request=AcknowledgeInput,
    responses=AcknowledgementOutput,
    summary="The homeowner typed a name below a notice on this device",
    description="Once. Answers 409 `notice_closed` afterwards, and where a newer walkthrough took its place.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def acknowledgements(request: Request, notice_id: int) -> Response:
    row, body = notice_for(user=request.user, pk=notice_id), AcknowledgeInput(data=request.data)
    body.is_valid(raise_exception=True)
    device = request.headers.get("User-Agent", "")
    answer = notice_acknowledge(
        notice=row, now=clock.now(), by_link=False, device=device, actor=request.user, **body.validated_data
    )
    return Response(AcknowledgementOutput(answer).data)


@extend_schema(
    operation_id="notice_nobody_home",
    request=AbsenceInput,
    responses=AbsenceOutput,
    summary="Nobody was home: send a notice, or say that it was left on paper",
    description="Each way once; a repeated call is the same row.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def absences(request: Request, notice_id: int) -> Response:
    row, body = notice_for(user=request.user, pk=notice_id), AbsenceInput(data=request.data)
    body.is_valid(raise_exception=True)
    absence = notice_send(notice=row, now=clock.now(), actor=request.user, **body.validated_data)
    return Response(AbsenceOutput(absence).data)


@extend_schema(
    operation_id="job_start_override",
    request=StartReason,
    responses=GateOutput,
    summary="Let a job start without a settled notice, for a reason that shows",
)
@api_view(["POST"])
@permission_classes([OwnerOnly])
def overrides(request: Request, job_id: int) -> Response:
    job, body = job_for(user=request.user, job_id=job_id), StartReason(data=request.data)
    body.is_valid(raise_exception=True)
    start_override(job=job, now=clock.now(), actor=request.user, **body.validated_data)
    return Response(GateOutput(start_gate(job_id=job.pk)).data)


@extend_schema(
    operation_id="walkthrough_removal_open",
    request=None,
    responses=RemovalOutput,
    summary="Open the separate job that takes off the chalk found",
    description="One open job for a property: the one that is there is returned.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def removals(request: Request, key: uuid.UUID) -> Response:
    row = walkthrough_for(user=request.user, key=key)
    return Response({"job": removal_open(walkthrough=row, now=clock.now(), actor=request.user).pk})


urlpatterns = [
    path("walkthroughs/", walkthroughs, name="api_walkthroughs"),
    path("walkthroughs/<uuid:key>/removal/", removals, name="api_walkthrough_removal"),
    path("jobs/<row:job_id>/walkthroughs/", job_walkthroughs, name="api_job_walkthroughs"),
    path("jobs/<row:job_id>/notice/", notices, name="api_job_notice"),
    path("jobs/<row:job_id>/start-override/", overrides, name="api_job_start_override"),
    path("notices/<row:notice_id>/", notice, name="api_notice"),
    path("notices/<row:notice_id>/acknowledgement/", acknowledgements, name="api_notice_acknowledgement"),
    path("notices/<row:notice_id>/nobody-home/", absences, name="api_notice_nobody_home"),
    path("walkthroughs/<uuid:key>/photos/<uuid:photo_key>/", photos, name="api_walkthrough_photo"),
]
