"""The JSON interface against its own OpenAPI page, by generated requests, good and bad."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from amptrail.web import create_app

APP = create_app(longest_s=60.0)
schema = schemathesis.openapi.from_asgi("/api/openapi.json", APP)
CHECKS = [not_a_server_error, content_type_conformance, response_schema_conformance, status_code_conformance]


@pytest.fixture(scope="module", autouse=True)
def log(home: Path) -> Iterator[None]:
    yield
    APP.state.workers.stop()


@schema.parametrize()
@settings(
    max_examples=5, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
def test_every_call_keeps_to_its_page(case: schemathesis.Case) -> None:
    case.call_and_validate(checks=CHECKS, timeout=120)
