"""The OpenAPI description: what each operation may answer when it refuses, said once for all of them."""

from http import HTTPStatus
from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ComponentRegistry, ResolvedComponent
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.permissions import AllowAny

from shared.api_kit.problems import MEDIA_TYPE

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Problem details (RFC 9457). Some kinds add members of their own.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference", "description": "stable; ends in the error's code"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string", "description": "for people"},
        "instance": {"type": "string", "format": "uri-reference"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer (RFC 6901) into the body"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}
# For operations that change something with a version: `@extend_schema(parameters=[IF_MATCH])`.
IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag that was seen with what is to be changed (RFC 9110, section 13.1.1).",
)
UNSAFE = ("POST", "PUT", "PATCH", "DELETE")


class ProblemSchema(AutoSchema):
    """Adds the problem details that an operation may answer with, as far as it can.

    400 wherever a query, a body or nothing at all can be wrong; 401 and 403 unless it is open to everybody; 404 with
    an id in the address or a page number; 406 always; 404, 409 and 422 where something is changed;
    412 and 428 with If-Match; 413 and 415 with a body. A room adds others by `problem_statuses` on its view.
    """

    def get_operation(
        self, path: str, path_regex: str, path_prefix: str, method: str, registry: ComponentRegistry
    ) -> dict[str, Any] | None:
        operation: dict[str, Any] | None = super().get_operation(path, path_regex, path_prefix, method, registry)
        if operation is None:
            return None
        problem = ResolvedComponent(  # type: ignore[no-untyped-call]
            name="Problem", type=ResolvedComponent.SCHEMA, schema=PROBLEM, object="Problem"
        )
        registry.register_on_missing(problem)
        for status in self.problem_statuses(operation):
            operation["responses"].setdefault(
                str(status),
                {
                    "description": HTTPStatus(status).phrase,
                    "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
                },
            )
        operation["responses"] = dict(sorted(operation["responses"].items()))
        return operation

    def problem_statuses(self, operation: dict[str, Any]) -> set[int]:
        places = {parameter["in"] for parameter in operation.get("parameters", [])}
        names = {parameter["name"] for parameter in operation.get("parameters", [])}
        statuses = {400, 406}
        if not any(isinstance(permission, AllowAny) for permission in self.view.get_permissions()):
            statuses |= {401, 403}
        if "path" in places or "page" in names:
            statuses.add(404)
        if "requestBody" in operation:
            statuses |= {413, 415}
        if self.method in UNSAFE:
            statuses |= {404, 409, 422}  # 404: a body may name what does not exist
        if "If-Match" in names:
            statuses |= {412, 428}
        return statuses | set(getattr(self.view, "problem_statuses", ()))
