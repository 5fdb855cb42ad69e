"""Schemathesis asks the page's JSON for what its document promises, and for what it does not: nothing breaks it."""

from collections.abc import Iterator

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pages import house_on, served
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from faultnet.web.app import API
from faultnet.workshop.entering import enter
from faultnet.workshop.opening import Opening, open_job

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
MOST = 20
"""Calls of one kind; more find nothing more, and cost each run."""

CALLS = sorted((method, route.path) for part in API for route in part.router.routes for method in route.methods)


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Iterator[schemathesis.BaseSchema]:
    house = house_on(tmp_path_factory.mktemp("asked"))
    workshop = house.workshop()
    for _ in range(3):
        number = open_job(workshop, Opening("backlight", facts={"size": "50", "nominal": "54"}))
        enter(workshop, number, ["sound=present", "loaded_voltage=0.1,0"])
    with served(house) as address:
        yield schemathesis.openapi.from_url(f"{address}/api/openapi.json")


@pytest.mark.parametrize(("method", "path"), CALLS, ids=" ".join)
def test_no_call_breaks_it(schema: schemathesis.BaseSchema, method: str, path: str) -> None:
    @given(case=schema[path][method].as_strategy(), job=st.sampled_from(["", "1001", "1002", "1003"]))
    @settings(
        max_examples=MOST,
        deadline=None,
        suppress_health_check=[*HealthCheck],
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
    )
    def ask(case: schemathesis.Case, job: str) -> None:
        if job and "job" in case.path_parameters:  # else hardly any call is about a job that there is
            case.path_parameters["job"] = job
        case.call_and_validate(checks=CHECKS)

    ask()


def test_every_call_stands_in_the_document(schema: schemathesis.BaseSchema) -> None:
    listed = {(method.upper(), path) for path in schema for method in schema[path]}
    assert listed == set(CALLS)
