"""Every error of the API is a problem detail (RFC 9457)."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError
from django.http import Http404
from django.test import Client, override_settings
from django.urls import include, path
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle

from shared.api_kit.permissions import OfficeOnly, SignedIn
from shared.api_kit.problems import MEDIA_TYPE, pointed_errors
from shared.company.models import Company
from shared.errors import Conflict, NotAllowed, NotFound, PreconditionMissing, Refused, Stale, WalldayError
from shared.events.services import event_record
from tests import factories


class Part(serializers.Serializer):
    minutes = serializers.IntegerField(min_value=0)


class Body(serializers.Serializer):
    name = serializers.CharField(max_length=5)
    parts = Part(many=True)


ERRORS: dict[str, Callable[[], Exception]] = {
    "wallday": lambda: WalldayError("no"),
    "not_allowed": lambda: NotAllowed("no"),
    "not_found": lambda: NotFound("no"),
    "conflict": lambda: Conflict("no", job_id=7, status=1),
    "stale": lambda: Stale("no"),
    "refused": lambda: Refused("no"),
    "missing": lambda: PreconditionMissing("no"),
    "django404": Http404,
    "django403": PermissionDenied,
    "invalid": lambda: DjangoValidationError({"name": ["too long"], "__all__": ["altogether wrong"]}),
    "integrity": lambda: IntegrityError("UNIQUE constraint failed: secret.table"),
    "bug": lambda: RuntimeError("secret"),
}


@api_view(["GET"])
@permission_classes([SignedIn])
def fail(request: Request, kind: str) -> Response:
    raise ERRORS.get(kind, Http404)()


@api_view(["POST"])
@permission_classes([SignedIn])
def take(request: Request) -> Response:
    body = Body(data=request.data)
    body.is_valid(raise_exception=True)
    return Response(body.validated_data)


@api_view(["GET"])
@permission_classes([OfficeOnly])
def office_only(request: Request) -> Response:
    return Response({})


@api_view(["GET"])
def unsaid(request: Request) -> Response:
    return Response({})


@api_view(["DELETE"])
@permission_classes([OfficeOnly])
def remove(request: Request) -> Response:
    request.user.delete()
    return Response(status=204)


class Slow(BaseThrottle):
    def allow_request(self, request: Request, view: Any) -> bool:
        return False

    def wait(self) -> float:
        return 30.0


@api_view(["GET"])
@permission_classes([SignedIn])
def throttled(request: Request) -> Response:
    return Response({})


throttled.cls.throttle_classes = [Slow]

urlpatterns = [
    path("api/fail/<str:kind>/", fail),
    path("api/take/", take),
    path("api/office/", office_only),
    path("api/unsaid/", unsaid),
    path("api/remove/", remove),
    path("api/row/<row:row_id>/", lambda request, row_id: None),
    path("api/throttled/", throttled),
    path("", include("shared.people.urls")),
]
handler404 = "shared.web.views.not_found"
handler500 = "shared.web.views.server_error"
pytestmark = pytest.mark.usefixtures("routes")


@pytest.fixture
def routes() -> Any:
    with override_settings(ROOT_URLCONF=__name__):
        yield


@pytest.fixture
def api(office: Any, client_of: Callable[[Any], Client]) -> Client:
    client = client_of(office)
    client.raise_request_exception = False
    return client


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The answer's body, after the checks that every problem must pass."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == MEDIA_TYPE
    body = json.loads(answer.content)
    assert {"type", "title", "status", "detail", "instance"} <= set(body)
    assert body["status"] == status
    assert body["detail"]
    assert "secret" not in answer.content.decode()
    return body


@pytest.mark.parametrize(
    ("kind", "status", "kind_of_problem"),
    [
        ("wallday", 400, "/problems/refused"),
        ("not_allowed", 403, "/problems/not_allowed"),
        ("not_found", 404, "/problems/not_found"),
        ("conflict", 409, "/problems/conflict"),
        ("stale", 412, "/problems/stale"),
        ("refused", 422, "/problems/refused"),
        ("missing", 428, "/problems/precondition_missing"),
        ("django404", 404, "about:blank"),
        ("django403", 403, "about:blank"),
        ("invalid", 400, "/problems/invalid"),
        ("integrity", 409, "/problems/conflict"),
        ("bug", 500, "about:blank"),
    ],
)
def test_each_error_has_its_problem(api: Client, kind: str, status: int, kind_of_problem: str) -> None:
    """Our own errors, Django's and a plain bug all come out as problems, without inner details."""
    body = problem(api.get(f"/api/fail/{kind}/"), status)
    assert body["type"] == kind_of_problem
    assert body["instance"] == f"/api/fail/{kind}/"


def test_fields_of_an_error_cannot_cover_standard_members(api: Client) -> None:
    """A further member is passed on, but `status` stays the status."""
    body = problem(api.get("/api/fail/conflict/"), 409)
    assert body["job_id"] == 7


def test_wrong_fields_have_pointers(api: Client) -> None:
    """Errors point into the body, also into lists."""
    body = {"name": "much too long", "parts": [{"minutes": 1}, {"minutes": -1}]}
    found = problem(api.post("/api/take/", body, content_type="application/json"), 400)
    assert {error["pointer"] for error in found["errors"]} == {"/name", "/parts/1/minutes"}


def test_errors_of_the_whole_have_an_empty_pointer(api: Client) -> None:
    """What concerns no single field points at the body as a whole."""
    body = problem(api.get("/api/fail/invalid/"), 400)
    assert {error["pointer"]: error["detail"] for error in body["errors"]} == {
        "/name": "too long",
        "": "altogether wrong",
    }


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"null",
        b"[]",
        b'"text"',
        b"\xff\xfe\x00",
        b'{"name": NaN}',
        b'{"name": "a\\u0000b", "parts": []}',
        b'{"name": "\\ud800", "parts": []}',
        b'{"\\u0000": 1}',
        b"[" * 100_000,
        b'{"name": ' + b"9" * 5000 + b"}",
        b'{"name": "a", "parts": null}',
        b'{"name": "a", "parts": {"0": 1}}',
    ],
)
def test_strange_bodies_are_refused(api: Client, body: bytes) -> None:
    """Bad JSON, bad UTF-8, NUL, half surrogates, null, wrong shapes, endless nesting: 400, never 500."""
    problem(api.post("/api/take/", body, content_type="application/json"), 400)


def test_other_media_types_and_methods(api: Client) -> None:
    """A form is no JSON; a method that is not there names those that are."""
    problem(api.post("/api/take/", "a=b", content_type="application/x-www-form-urlencoded"), 415)
    assert "POST" in api.get("/api/take/")["Allow"]
    problem(api.get("/api/take/"), 405)
    problem(
        api.post("/api/take/", b'{"name":"a","parts":[]}', content_type="application/json", HTTP_ACCEPT="text/csv"), 406
    )


def test_too_large_a_body_is_refused(api: Client) -> None:
    """A body over the limit for forms is answered 413 before it is read as JSON."""
    with override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=50):
        problem(api.post("/api/take/", b'{"name": "' + b"a" * 60 + b'"}', content_type="application/json"), 413)


@pytest.mark.parametrize("row", ["0", "-1", "9223372036854775808", "9" * 30, "01", "x", "1%00"])
def test_ids_no_row_can_have(api: Client, row: str) -> None:
    """They are unknown addresses, not overflows."""
    problem(api.get(f"/api/row/{row}/"), 404)


def test_nobody_and_the_wrong_role(db: None, client_of: Any) -> None:
    """Without a sign-in 401 and the scheme; with the wrong role 403; an operation that says nothing is the owner's."""
    answer = Client().get("/api/office/")
    problem(answer, 401)
    assert answer["WWW-Authenticate"] == "Token"
    problem(client_of(factories.make_user(role="crew_lead")).get("/api/office/"), 403)
    problem(client_of(factories.make_user(role="office")).get("/api/unsaid/"), 403)
    assert client_of(factories.make_user(role="owner")).get("/api/unsaid/").status_code == 200


def test_wrong_token_is_401(db: None) -> None:
    """A token that does not exist is no sign-in."""
    problem(Client().get("/api/office/", headers={"Authorization": "Token nonsense"}), 401)


def test_a_session_needs_the_form_token_to_write(office: Any) -> None:
    """A signed-in browser cannot be made to write from elsewhere."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(office)
    problem(client.post("/api/take/", b"{}", content_type="application/json"), 403)


def test_protected_rows_are_a_conflict(owner: Any, client_of: Any) -> None:
    """A row that history still names cannot be removed."""
    event_record(kind="company.changed", subject=Company.objects.create(pk=1), actor=owner)
    body = problem(client_of(owner).delete("/api/remove/"), 409)
    assert body["type"] == "/problems/conflict"


def test_a_throttled_caller_learns_when_to_come_back(api: Client) -> None:
    """429 names the seconds to wait."""
    answer = api.get("/api/throttled/")
    problem(answer, 429)
    assert int(answer["Retry-After"]) == 30


DETAIL = st.recursive(
    st.text(min_size=1),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(DETAIL)
def test_no_message_is_lost(detail: Any) -> None:
    """Every message of a nested error appears once, under a pointer that is empty or begins with a slash."""

    def leaves(node: Any) -> list[str]:
        if isinstance(node, dict):
            return [leaf for inner in node.values() for leaf in leaves(inner)]
        return [leaf for inner in node for leaf in leaves(inner)] if isinstance(node, list) else [node]

    found = list(pointed_errors(detail))
    assert sorted(error["detail"] for error in found) == sorted(leaves(detail))
    assert all(error["pointer"] == "" or error["pointer"].startswith("/") for error in found)


def test_the_instance_is_an_address(api: Client) -> None:
    """Letters that no address may hold are escaped."""
    body = problem(api.get("/api/fail/caf%C3%A9%20%0B/"), 404)
    assert body["instance"] == "/api/fail/caf%C3%A9%20%0B/"


def test_pointers_are_escaped() -> None:
    """RFC 6901: ~ and / in a name become ~0 and ~1."""
    assert list(pointed_errors({"a/b~c": ["x"]})) == [{"pointer": "/a~1b~0c", "detail": "x"}]


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


@given(JSON)
def test_storable_json_is_read_as_it_is(data: Any) -> None:
    """Whatever holds no NUL and no half surrogate is read unchanged; the rest is refused, never passed on."""
    from rest_framework.exceptions import ParseError

    from shared.api_kit.parsers import read_json

    text = json.dumps(data)
    if "\\u0000" in text.replace("\\\\", ""):
        with pytest.raises(ParseError):
            read_json(text.encode())
    else:
        assert read_json(text.encode()) == data
