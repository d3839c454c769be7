"""Random requests against our own OpenAPI description: every answer is one that the description promises."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from django.core import signals
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, given, settings
from rest_framework.authtoken.models import Token
from schemathesis.specs.openapi import checks as openapi_checks

from routing.dispatch.services import plan_send_out
from tests import factories

SCHEMA = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
API = schemathesis.openapi.from_dict(SCHEMA)
API.app = get_wsgi_application()
OPERATIONS = {operation.ok().label: operation.ok() for operation in API.get_all_operations()}
EXAMPLES = 25
CHECKS = [
    schemathesis.checks.not_a_server_error,
    openapi_checks.status_code_conformance,
    openapi_checks.content_type_conformance,
    openapi_checks.response_headers_conformance,
    openapi_checks.response_schema_conformance,
]
known: dict[str, list[Any]] = {}


@pytest.fixture
def token(owner: Any) -> Iterator[str]:
    """The owner's token, and something that exists for the names in the addresses."""
    prop = factories.make_property()
    wall, job, crew = factories.make_wall(property=prop), factories.make_job(property=prop), factories.make_crew()
    stock = factories.make_stock()
    plan = factories.make_planned_day((crew, [factories.make_job()]))
    sent = plan_send_out(plan=plan, expected_version=plan.version)
    known.update(
        plan_id=[plan.pk],
        stop_id=[sent.routes.get().stops.get().pk],
        customer_id=[prop.customer_id],
        property_id=[prop.pk],
        wall_id=[wall.pk],
        job_id=[job.pk],
        yard_code=[crew.yard.code],
        crew_code=[crew.code],
        stock_id=[stock.pk],
        product_id=[stock.product_id],
        truck_code=[factories.make_truck().code],
    )
    for signal in (signals.request_started, signals.request_finished):
        signal.disconnect(close_old_connections)  # the test's transaction lives in this connection
    yield Token.objects.create(user=owner).key
    for signal in (signals.request_started, signals.request_finished):
        signal.connect(close_old_connections)
    known.clear()


@API.hook
def map_path_parameters(context: Any, path_parameters: dict[str, Any] | None) -> Any:
    """Every second request is about something that exists, or nearly all would end as not found."""
    for name, value in (path_parameters or {}).items():
        if known.get(name) and len(str(value)) % 2:
            path_parameters[name] = known[name][0]
    return path_parameters


@pytest.mark.parametrize("label", sorted(OPERATIONS))
def test_operation_keeps_to_the_description(label: str, token: str) -> None:
    """Status, media type, headers and body of each answer are described, whatever was asked; nothing fails inside."""

    @given(case=OPERATIONS[label].as_strategy())
    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    def ask(case: schemathesis.Case) -> None:
        case.call_and_validate(headers={"Authorization": f"Token {token}"}, checks=CHECKS)

    ask()


def test_the_description_is_valid_and_complete(tmp_path: Path) -> None:
    """Valid OpenAPI 3.1, and nothing in it had to be guessed."""
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "schema.yml"))
    assert "openapi: 3.1" in (tmp_path / "schema.yml").read_text(encoding="utf-8")


def test_the_description_covers_the_api() -> None:
    """Without operations nothing above would run; each one documents who may not and what is wrong."""
    operations = [operation for path in SCHEMA["paths"].values() for operation in path.values()]
    assert len(operations) >= 8
    for operation in operations:
        assert {"400", "401", "403"} <= set(operation["responses"])
