"""The committed contract, read by unrelated validators."""

import base64
import io
import json

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from PIL import Image
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from conftest import REPOSITORY

CONTRACT = REPOSITORY / "openapi"
DOCUMENT = json.loads((CONTRACT / "openapi.json").read_text())
TICKET = json.loads((CONTRACT / "ticket.schema.json").read_text())


def validator(name):
    """Validates against a schema of the document."""
    registry = Registry().with_resource("urn:document", Resource.from_contents(DOCUMENT, default_specification=DRAFT202012))
    schema = {"$ref": f"urn:document#/components/schemas/{name}"}
    return Draft202012Validator(schema, registry=registry, format_checker=Draft202012Validator.FORMAT_CHECKER)


def assert_valid(name, value):
    errors = [f"{list(error.absolute_path)}: {error.message[:200]}" for error in validator(name).iter_errors(value)]
    assert not errors, f"{name}: {errors}"


def bodies():
    """Every request schema with its media type object."""
    for path, item in DOCUMENT["paths"].items():
        for operation in item.values():
            if isinstance(operation, dict) and "requestBody" in operation:
                media = operation["requestBody"]["content"]["application/json"]
                yield path, operation, media["schema"]["$ref"].rsplit("/", 1)[1], media


def over_http(tree):
    """A job file's pictures as parts of a multipart request: over HTTP there are no files."""
    if isinstance(tree, list):
        return [over_http(value) for value in tree]
    if not isinstance(tree, dict):
        return tree
    return {key: {"part": value["file"]} if key == "art" else over_http(value) for key, value in tree.items()}


def test_the_document_is_valid_openapi():
    """OpenAPI Specification 3.1, by openapi-spec-validator."""
    assert DOCUMENT["openapi"].startswith("3.1.")
    errors = [f"{list(error.absolute_path)}: {error.message[:200]}" for error in OpenAPIV31SpecValidator(DOCUMENT).iter_errors()]
    assert not errors


def test_every_schema_is_valid_json_schema():
    for schema in [TICKET, *DOCUMENT["components"]["schemas"].values()]:
        Draft202012Validator.check_schema(schema)
    assert TICKET["$schema"] == "https://json-schema.org/draft/2020-12/schema" and TICKET["title"] == "ticket/1"


def test_tickets_are_as_their_schema_says(measured_runs):
    schema = Draft202012Validator(TICKET)
    for run in measured_runs:
        errors = [f"{list(error.absolute_path)}: {error.message[:200]}" for error in schema.iter_errors(run.ticket)]
        assert not errors
        assert_valid("Ticket", run.ticket)


def closed(schema):
    """The schema without room for properties that it does not name."""
    if isinstance(schema, list):
        return [closed(value) for value in schema]
    if not isinstance(schema, dict):
        return schema
    inner = {key: closed(value) for key, value in schema.items()}
    return {**inner, "additionalProperties": False} if isinstance(schema.get("properties"), dict) and schema.get("type") == "object" else inner


def test_tickets_have_no_field_that_their_schema_does_not_name(demo):
    errors = [f"{list(error.absolute_path)}: {error.message[:200]}" for error in Draft202012Validator(closed(TICKET)).iter_errors(demo.ticket)]
    assert not errors


def test_a_ticket_that_is_wrong_is_refused(demo):
    """The schema says something: each of these breaks it."""
    schema = Draft202012Validator(TICKET)
    for pointer, value in [("schema", "ticket/2"), ("effort", "lazy"), ("sheets", None), ("totals", {})]:
        assert not schema.is_valid({**demo.ticket, pointer: value}), pointer
    for field in demo.ticket:
        assert not schema.is_valid({key: value for key, value in demo.ticket.items() if key != field}), field


def test_jobs_that_run_are_as_their_schema_says(measured_runs):
    for run in measured_runs:
        assert_valid("GangJob", over_http(run.job))


@pytest.mark.parametrize("value", [
    {"run": "r", "stocks": [], "orders": []},
    {"run": ".r", "stocks": ["gloss"], "orders": [{"order": "1", "items": []}]},
    {"run": "r", "stocks": ["gloss"], "orders": [{"order": "1", "items": [{"item": "1", "art": {"file": "fox.png"}}]}]},
    {"run": "r", "stocks": ["gloss"], "orders": [{"order": "1", "items": [{"item": "a\nb"}]}]},
    {"run": "r", "stocks": ["gloss"], "orders": [{"order": "1", "items": [{"item": "1", "outline": {"shape": "circle", "corner_radius_mm": 3}}]}]},
    {"run": "r", "stocks": ["gloss"], "orders": [{"order": "1", "items": [{"item": "1", "size": {"width_mm": 1, "longest_mm": 1}}]}]},
    {"run": "r", "stocks": ["gloss"], "orders": [{"order": "1", "items": [{"item": "1", "product": "die_cut", "backing": {}}]}]},
    {"run": "r", "stocks": [{"stock": "a/b"}], "orders": [{"order": "1", "items": []}]},
])
def test_jobs_that_are_refused_break_their_schema(value):
    assert not validator("GangJob").is_valid(value)


def test_every_request_example_is_as_its_schema_says():
    seen = 0
    for path, operation, schema, media in bodies():
        assert media["examples"], path
        for example in media["examples"].values():
            assert_valid(schema, example["value"])
            seen += 1
    assert seen >= 8


def test_every_answer_example_is_as_its_schema_says():
    for path, item in DOCUMENT["paths"].items():
        for operation in item.values():
            if not isinstance(operation, dict) or "responses" not in operation:
                continue
            for status, answer in operation["responses"].items():
                if "$ref" in answer:
                    answer = DOCUMENT["components"]["responses"][answer["$ref"].rsplit("/", 1)[1]]
                for media in answer.get("content", {}).values():
                    for example in media.get("examples", {}).values():
                        if "$ref" in media["schema"]:
                            assert_valid(media["schema"]["$ref"].rsplit("/", 1)[1], example["value"])


def test_pictures_in_examples_are_pictures():
    def pictures(tree):
        values = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else []
        found = [tree["base64"]] if isinstance(tree, dict) and isinstance(tree.get("base64"), str) else []
        return found + [text for value in values for text in pictures(value)]

    for path, operation, schema, media in bodies():
        for example in media["examples"].values():
            texts = pictures(example["value"])
            assert texts, path
            for text in texts:
                picture = Image.open(io.BytesIO(base64.b64decode(text, validate=True)))
                picture.load()
                assert picture.format == "PNG" and min(picture.size) >= 64


def test_operations_have_names_answers_and_problem_documents():
    ids = []
    for path, item in DOCUMENT["paths"].items():
        assert ("head" in item) == ("get" in item), path
        for method, operation in item.items():
            if method == "parameters":
                continue
            ids.append(operation["operationId"])
            assert "200" in operation["responses"]
            for status, answer in operation["responses"].items():
                if status.startswith(("4", "5")):
                    answer = DOCUMENT["components"]["responses"][answer["$ref"].rsplit("/", 1)[1]]
                    assert list(answer["content"]) == ["application/problem+json"]
                    assert {"X-Request-Id", "Content-Digest"} <= set(answer["headers"])
    assert len(ids) == len(set(ids))
    assert {"preflight", "proof", "estimate", "gang", "list_stocks", "health", "readiness", "metrics", "openapi", "docs", "problem"} <= set(ids)
