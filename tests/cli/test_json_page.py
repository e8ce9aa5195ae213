"""docs/json.md: its commands run, and it names every key the schemas ask for."""

from __future__ import annotations

import json
import re
import shlex
from typing import Any

import pytest
from schemas import FILES, ROOT, validate

from amptrail.cli.batch import answers
from amptrail.cli.main import main

PAGE = (ROOT / "docs" / "json.md").read_text(encoding="utf-8")
COMMANDS = [x for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL) for x in block.splitlines()]
FAILING = PAGE.split("## When it fails", 1)[1]


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_the_page(
    line: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    status = main(shlex.split(line)[1:])
    got = json.loads(capsys.readouterr().out)
    assert status == got["exit"] == (2 if line in FAILING else 0), got["problems"]
    if status:
        assert got["problems"][0]["severity"] == "error"
        assert got["problems"][0]["remedy"]
    else:
        validate(got)


def test_the_request_of_the_page() -> None:
    found = re.search(r"```json\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    (got,) = answers([found[1]])
    assert (got["id"], got["exit"]) == (7, 0)


def _required(node: Any) -> set[str]:
    if isinstance(node, dict):
        own = set(node.get("required", ()))
        return own.union(*(_required(v) for v in node.values()))
    return set().union(*(_required(v) for v in node)) if isinstance(node, list) else set()


@pytest.mark.parametrize("name", sorted(FILES))
def test_the_page_names_what_the_schema_asks_for(name: str) -> None:
    missing = {k for k in _required(FILES[name]) if f"`{k}`" not in PAGE}
    assert sorted(missing) == []
