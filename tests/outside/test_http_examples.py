"""The document's own examples, sent as they stand, and the answers that it shows."""

import base64
import json

import pytest

from test_openapi import DOCUMENT, assert_valid


def requests_in_the_document():
    """Path, name and value of every example of a request."""
    for path, item in DOCUMENT["paths"].items():
        if "post" in item:
            content = item["post"]["requestBody"]["content"]["application/json"]
            for name, example in content["examples"].items():
                yield pytest.param(path, item["post"], name, example["value"], id=f"{path}-{name}")


@pytest.mark.parametrize(("path", "operation", "name", "value"), list(requests_in_the_document()))
def test_each_example_is_answered_as_the_document_shows(service, path, operation, name, value):
    answer = service.post(path, value, headers={"Accept": "application/json"})
    assert answer.status_code == 200, answer.text
    media = operation["responses"]["200"]["content"]["application/json"]
    assert_valid(media["schema"]["$ref"].rsplit("/", 1)[1], answer.json())
    shown = media.get("examples", {}).get(name)
    if shown is not None:
        assert answer.json() == shown["value"]


@pytest.mark.parametrize(("path", "operation", "name", "value"), list(requests_in_the_document()))
def test_each_example_answers_the_same_as_multipart(service, path, operation, name, value):
    parts = {}

    def walk(node):
        if isinstance(node, dict):
            if set(node) == {"base64"}:
                data = base64.b64decode(node.pop("base64"))
                node["part"] = parts.setdefault(data, f"picture {len(parts)}")
            for child in list(node.values()):
                walk(child)
        elif isinstance(node, list):
            for child in node:
                walk(child)

    job = json.loads(json.dumps(value))
    walk(job)
    as_json = {"Accept": "application/json"}
    as_parts = service.post(path, job, [(part, data) for data, part in parts.items()], headers=as_json)
    assert as_parts.content == service.post(path, value, headers=as_json).content


def test_every_operation_with_a_body_has_examples():
    posts = [path for path, item in DOCUMENT["paths"].items() if "post" in item]
    assert len(posts) == 4
    assert {parameter.values[0] for parameter in requests_in_the_document()} == set(posts)
