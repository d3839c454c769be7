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
from jobs.walkthroughs.inputs import (
    MOST_PHOTOS,
    FindingInput,
    LeftOutInput,
    OfflineAbsence,
    OfflineAcknowledgement,
    WalkthroughInput,
    WallInput,
)
from jobs.walkthroughs.models import (
    Acknowledgement,
    Finding,
    FindingKind,
    LeftOutReason,
    NobodyHome,
    Notice,
    NoticePrint,
    OfflineAnswer,
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
    acknowledge_offline,
    difference_settle,
    nobody_home_offline,
    notice_acknowledge,
    notice_make,
    notice_send,
    photo_add,
    removal_open,
    start_override,
    walkthrough_record,
)
from jobs.walkthroughs.services.notices import LANGUAGES
from jobs.walkthroughs.views.access import job_for, notice_for, offline_of, walkthrough_for
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


class OfflineOutput(serializers.Serializer[OfflineAnswer]):
    """What a phone without a signal showed and when; `expected` is our own text of the stored walkthrough."""

    key = serializers.UUIDField()
    notice = serializers.IntegerField(source="notice.pk")
    phone_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    text = serializers.CharField()
    expected = serializers.CharField()
    differs = serializers.BooleanField()
    settled = serializers.CharField(source="settled.reason", default="", help_text="why it counts nevertheless")
    picture_digests = serializers.ListField(child=serializers.CharField())


class AcknowledgementOutput(serializers.Serializer[Acknowledgement]):
    typed_name = serializers.CharField()
    statement = serializers.CharField()
    language = serializers.CharField(source="shown.language")
    by_link = serializers.BooleanField()
    wants_removal = serializers.BooleanField()
    record_digest = serializers.CharField()
    at = serializers.DateTimeField()
    offline = OfflineOutput(default=None, allow_null=True, help_text="given without a signal")


class AbsenceOutput(serializers.Serializer[NobodyHome]):
    sent_how = serializers.ChoiceField(choices=SentHow.choices)
    note = serializers.CharField()
    message = serializers.IntegerField(source="message_id", allow_null=True)
    at = serializers.DateTimeField()
    offline = OfflineOutput(default=None, allow_null=True, help_text="written down without a signal")


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
        help_text="not_needed, missing, nothing, unshown, open, differs, acknowledged, nobody_home or overridden"
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


class OfflineInput(serializers.Serializer[Any]):
    """`job` and `at` are looked at again: an answer for another house or from another time is refused."""

    key = serializers.UUIDField(help_text="made by the caller; the same key with the same content is stored once")
    job = serializers.IntegerField(source="job_id", min_value=1, max_value=GREATEST)
    at = serializers.DateTimeField(help_text="by the phone's clock; at most seven days old")


class OfflineAcknowledgeInput(OfflineInput):
    language = serializers.ChoiceField(choices=Language.choices, help_text="of the text that was shown")
    typed_name = serializers.CharField(max_length=120)
    statement = serializers.CharField(max_length=1_000, help_text="the sentence above the name, as it was shown")
    text = serializers.CharField(
        max_length=30_000, trim_whitespace=False, help_text="exactly as it was shown, line by line"
    )
    pictures = serializers.ListField(
        child=serializers.RegexField(r"^[0-9a-f]{64}\Z", max_length=64),
        max_length=MOST_PHOTOS,
        help_text="SHA-256 of the pictures that were shown, as they are sent",
    )
    wants_removal = serializers.BooleanField(default=False)


class OfflineAbsenceInput(OfflineInput):
    sent_how = serializers.ChoiceField(choices=SentHow.choices)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")


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
    operation_id="notice_acknowledge_offline",
    request=OfflineAcknowledgeInput,
    responses=OfflineOutput,
    summary="Hand in what a phone without a signal showed of a walkthrough, and who typed a name below it",
    description=(
        "After its walkthrough and pictures; may be repeated. Kept as it was seen and compared with our own text: "
        "where `differs` is true, the job may not start until the office settled that or the homeowner acknowledges "
        "again. Answers 400 `phone_time_refused`, 409 `other_house`, `recorded_already` (the key came before with "
        "other content) or `notice_closed` (acknowledged already, or a newer walkthrough took its place)."
    ),
)
@api_view(["POST"])
@permission_classes([SignedIn])
def offline_acknowledgements(request: Request, key: uuid.UUID) -> Response:
    row, body = walkthrough_for(user=request.user, key=key), OfflineAcknowledgeInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = dict(body.validated_data)
    entry = OfflineAcknowledgement(pictures=tuple(data.pop("pictures")), **data)
    device = request.headers.get("User-Agent", "")
    answer = acknowledge_offline(walkthrough=row, entry=entry, now=clock.now(), device=device, actor=request.user)
    return Response(OfflineOutput(answer).data)


@extend_schema(
    operation_id="notice_nobody_home_offline",
    request=OfflineAbsenceInput,
    responses=OfflineOutput,
    summary="Hand in that nobody was home, as a phone without a signal wrote it down; our notice goes out now",
    description="After its walkthrough and pictures; may be repeated. Refused as an acknowledgement is.",
)
@api_view(["POST"])
@permission_classes([SignedIn])
def offline_absences(request: Request, key: uuid.UUID) -> Response:
    row, body = walkthrough_for(user=request.user, key=key), OfflineAbsenceInput(data=request.data)
    body.is_valid(raise_exception=True)
    entry = OfflineAbsence(**body.validated_data)
    answer = nobody_home_offline(walkthrough=row, entry=entry, now=clock.now(), actor=request.user)
    return Response(OfflineOutput(answer).data)


@extend_schema(
    operation_id="notice_difference_settle",
    request=StartReason,
    responses=GateOutput,
    summary="Let an acknowledgement count although the phone showed another text than ours, for a reason that is kept",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def differences(request: Request, notice_id: int) -> Response:
    row, body = notice_for(user=request.user, pk=notice_id), StartReason(data=request.data)
    body.is_valid(raise_exception=True)
    difference_settle(answer=offline_of(row), now=clock.now(), actor=request.user, **body.validated_data)
    return Response(GateOutput(start_gate(job_id=row.walkthrough.job_id)).data)


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
    path("notices/<row:notice_id>/difference/", differences, name="api_notice_difference"),
    path("walkthroughs/<uuid:key>/acknowledgement/", offline_acknowledgements, name="api_offline_acknowledgement"),
    path("walkthroughs/<uuid:key>/nobody-home/", offline_absences, name="api_offline_nobody_home"),
    path("walkthroughs/<uuid:key>/photos/<uuid:photo_key>/", photos, name="api_walkthrough_photo"),
]
