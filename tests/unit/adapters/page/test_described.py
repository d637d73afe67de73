"""The description and the metrics are held against readers of others, and against what is served."""

from __future__ import annotations

import re

from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from prometheus_client.parser import text_string_to_metric_families

from bridge.adapters.page import openapi, routes
from bridge.adapters.page.options import PageSettings
from tests.page_visit import Doorstep, FakeHome


def schema_of(name: str) -> Draft202012Validator:
    document = openapi.document()
    return Draft202012Validator(
        {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    )


def test_the_description_is_openapi_3_1() -> None:
    OpenAPIV31SpecValidator(openapi.document()).validate()


async def test_it_names_every_path_that_is_served_and_no_other() -> None:
    step = Doorstep(PageSettings())
    router = routes.Routes(FakeHome(), None, dict, str).router(step.server.streams, lambda *_: None)  # type: ignore[arg-type]  # only the paths are looked at
    served = {route.path for route in router.routes}  # type: ignore[attr-defined]  # each is a Route
    assert set(openapi.document()["paths"]) == served


async def test_what_is_served_fits_its_description() -> None:
    step = Doorstep(PageSettings())
    for path, model in (
        ("/api/house", "HouseSaid"),
        ("/api/care", "CareSaid"),
        ("/api/journal", "JournalSaid"),
    ):
        schema_of(model).validate((await step.call("GET", path)).said)
    refused = await step.call("GET", "/api/journal?limit=x")
    schema_of("RefusalSaid").validate(refused.said)
    schema_of("TakenSaid").validate((await step.change("/api/stop", {})).said)


def test_what_is_asked_is_described_as_it_is_read() -> None:
    ask = schema_of("AskWanted")
    assert ask.is_valid({"open_pct": 40})
    assert not ask.is_valid({"open_pct": 101})
    assert not ask.is_valid({"button": "left"})
    assert not ask.is_valid({"else": 1})


async def test_every_metric_is_read_by_the_parser_of_others_and_named_by_convention() -> None:
    step = Doorstep(PageSettings())
    await step.call("GET", "/api/house", host="evil.example")
    text = (await step.call("GET", "/metrics")).body.decode()
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert len(families) >= 20
    for name, family in families.items():
        assert re.fullmatch(r"(hembar|process)_[a-z_]+", name)
        assert family.documentation
        for sample in family.samples:
            assert (family.type == "counter") == sample.name.endswith("_total")
    assert "# TYPE hembar_shade_moves_total counter" in text
    grades = [
        sample for sample in families["hembar_shade_grade"].samples if sample.labels["shade"] == "study"
    ]
    assert {sample.labels["grade"]: sample.value for sample in grades}["unknown"] == 1
    assert sum(sample.value for sample in grades) == 1
    refusals = {sample.labels["error"]: sample.value for sample in families["hembar_page_refusals"].samples}
    assert refusals == {"wrong-host": 1}


async def test_an_unknown_place_is_left_out_of_the_metrics_and_never_made_up() -> None:
    text = (await Doorstep(PageSettings()).call("GET", "/metrics")).body.decode()
    assert "hembar_shade_open_ratio{" not in text
    assert 'hembar_shade_width_meters{shade="study"}' in text
