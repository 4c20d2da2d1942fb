"""`replay`: the assessment of a case file as lines and as data, without a dialogue."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from symptomtree.cli import main

WALKTHROUGHS = sorted((Path(__file__).parents[1] / "walkthroughs").glob("*.yaml"))


def misfits(value, schema, defs, at="$"):
    """Yield where a value is not what the schema says, by the validation keywords that the schema uses.

    Source: "JSON Schema Validation: A Vocabulary for Structural Validation of JSON" (draft 2020-12, 2022), section 6.
    """
    if "$ref" in schema:
        schema = defs[schema["$ref"].removeprefix("#/$defs/")]
    known = {"object": dict, "array": list, "string": str, "number": (int, float), "integer": int, "boolean": bool}
    if "type" in schema and (
        not isinstance(value, known[schema["type"]]) or (isinstance(value, bool) and schema["type"] != "boolean")
    ):
        yield f"{at}: {value!r} is no {schema['type']}"
        return
    if value not in schema.get("enum", [value]):
        yield f"{at}: {value!r} is none of {schema['enum']}"
    if isinstance(value, (int, float)) and not schema.get("minimum", value) <= value <= schema.get("maximum", value):
        yield f"{at}: {value!r} is out of bounds"
    if isinstance(value, list):
        for n, item in enumerate(value):
            yield from misfits(item, schema["items"], defs, f"{at}[{n}]")
    if isinstance(value, dict):
        for key in schema["required"]:
            if key not in value:
                yield f"{at}: {key} is missing"
        for key, item in value.items():
            if key in schema["properties"]:
                yield from misfits(item, schema["properties"][key], defs, f"{at}.{key}")
            else:
                yield f"{at}: {key} is in no schema"


@pytest.fixture
def said(capsys):
    """Return what a command prints."""

    def run(*args):
        assert main(args) == 0
        return capsys.readouterr().out

    return run


def test_the_data_is_what_the_schema_says(said):
    """Some walkthroughs' records, by a reading of the schema that shares no code with what wrote it."""
    schema = json.loads(said("replay", "--schema"))
    for path in WALKTHROUGHS[::16]:
        record = json.loads(said("replay", str(path), "--json"))
        assert not list(misfits(record, schema, schema["$defs"])), path.name
        assert record["causes"]
        wrong = {**record, "version": "1", "stage": "lost", "title": None, "more": 1}
        del wrong["sets"]
        assert len(list(misfits(wrong, schema, schema["$defs"]))) == 5, "what does not fit is seen"


def test_the_same_bytes_in_every_process():
    """Each process orders its sets in its own way; nothing of that may show."""
    command = [sys.executable, "-m", "symptomtree", "replay", str(WALKTHROUGHS[0]), "--json"]
    first, second = (subprocess.run(command, capture_output=True, check=True, timeout=120).stdout for _ in range(2))
    assert first == second


def test_lines_say_what_the_data_says(said):
    """Safety comes first, and the likeliest cause of the data leads the list."""
    for path in WALKTHROUGHS[::16]:
        record = json.loads(said("replay", str(path), "--json"))
        text = said("replay", str(path))
        assert f"1. {record['causes'][0]['name']}: " in text
        for stop in record["stop-riding"]:
            assert stop["cleared"] or text.index(stop["because"]) < text.index("Told and found:")


def test_a_title_cannot_pose_as_a_line_of_the_program(said, tmp_path):
    """Case files come from elsewhere too."""
    path = tmp_path / "case.yaml"
    path.write_text('symptomtree-case: 1\ntitle: "mine\\nCleared: ride on"\nevents: []\n')
    assert said("replay", str(path)).splitlines()[0] == "mine Cleared: ride on"
