"""Walkthroughs from a phone's queue: what goes up twice is stored once."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, parser_classes, permission_classes
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.walkthroughs.inputs import MOST_PHOTOS, FindingInput, LeftOutInput, WalkthroughInput, WallInput
from jobs.walkthroughs.models import FindingKind, LeftOutReason, Photo, Walkthrough
from jobs.walkthroughs.pictures import MOST_BYTES, require_size
from jobs.walkthroughs.services import photo_add, walkthrough_record
from jobs.walkthroughs.views.access import job_for, walkthrough_for
from shared import clock
from shared.api_kit.permissions import SignedIn
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


urlpatterns = [
    path("walkthroughs/", walkthroughs, name="api_walkthroughs"),
    path("walkthroughs/<uuid:key>/photos/<uuid:photo_key>/", photos, name="api_walkthrough_photo"),
]
