"""Real documents against the JSON Schemas that stand in the package."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.attached.telling import drive_object
from copytime.report.drives import drives_document
from tests.conftest import Cli
from tests.support.trees import TREES, lay_out


def schema(kind: str) -> Any:
    return json.loads(resources.files("copytime.report").joinpath(f"schemas/{kind}.json").read_text(encoding="utf-8"))


def closed(node: Any) -> Any:
    """Return the schema with unknown keys forbidden, so that a key that no schema knows is noticed here."""
    if isinstance(node, dict):
        made = {key: closed(value) for key, value in node.items()}
        if "properties" in made:
            made["additionalProperties"] = False
        return made
    return [closed(one) for one in node] if isinstance(node, list) else node


def check(text: str) -> Any:
    document = json.loads(text)
    kind = document["format"].removeprefix("copytime.")
    jsonschema.Draft202012Validator.check_schema(schema(kind))
    jsonschema.validate(document, closed(schema(kind)), cls=jsonschema.Draft202012Validator)
    return document


def test_a_qualification_its_listing_and_what_it_left(cli: Cli, tmp_path: Path) -> None:
    quick = ("--small", "0", "--large", "16MB", "--json", "-q", "--keep")
    document = check(cli("qualify", tmp_path, *quick, "--repeats", "2", "--link", "sata").stdout)
    assert document["results"][0]["margin_covers"]
    single = check(cli("qualify", tmp_path, *quick, "--repeats", "1").stdout)
    assert "low_mb_per_s" not in single["results"][0]
    check(cli("log", "--json").stdout)
    check(cli("log", "show", document["id"], "--json").stdout)
    assert len(check(cli("tidy", "--json").stdout)["left_overs"]) == 2
    assert len(check(cli("tidy", "--json", "--yes").stdout)["left_overs"]) == 2
    assert check(cli("tidy", "--json").stdout)["left_overs"] == []


@pytest.mark.parametrize("tree", TREES)
def test_drives(tree: str, tmp_path: Path) -> None:
    where = lay_out(tree, tmp_path)
    here = LinuxFacts(where / "sys", where / "proc", where / "run/udev/data")
    told = [drive_object(one) for one in interpret([here.drive(name) for name in here.names()])]
    found = check(json.dumps(drives_document("2026-05-04T09:30:00+02:00", told)))
    assert found["drives"]


def test_drives_of_this_machine(cli: Cli) -> None:
    assert isinstance(check(cli("drives", "--json").stdout)["drives"], list)


def test_links(cli: Cli) -> None:
    assert len(check(cli("links", "--json").stdout)["links"]) > 100
    (one,) = check(cli("links", "USB 3.0", "--json").stdout)["links"]
    assert (one["name"], one["ceiling_mb_per_s"]) == ("usb3.2-gen1x1", pytest.approx(484.848, abs=0.001))


@pytest.mark.parametrize("change", [{"format_version": 2}, {"created": "yesterday"}, {"passes": None}, {"id": None}])
def test_the_schema_refuses_what_it_should(cli: Cli, tmp_path: Path, change: dict[str, Any]) -> None:
    document = check(cli("qualify", tmp_path, "--small", "0", "--large", "16MB", "--json", "-q", "--repeats", "1").stdout)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document, **change}, schema("qualification"))


def test_topics(cli: Cli) -> None:
    (one,) = check(cli("explain", "margin", "--json").stdout)["topics"]
    assert one["name"] == "margin"
    assert len(check(cli("explain", "--json").stdout)["topics"]) > 30
