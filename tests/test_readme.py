"""The first example of the README is real: its files, its command and the answer it prints."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _block(kind: str) -> str:
    found = re.search(rf"```{kind}\n(.*?)```", README, re.DOTALL)
    assert found is not None, f"the README has no {kind} block"
    return found[1]


@pytest.mark.parametrize("kind", ["sheet", "readings"])
def test_the_files_are_those_shown(kind: str) -> None:
    shown = _block(kind)
    assert (ROOT / "demos" / "first" / f"lamp.{kind}").read_text(encoding="utf-8") == shown


def test_every_path_of_the_map_exists() -> None:
    rows = [line.split("|")[1] for line in README.splitlines() if line.startswith("| `")]
    for row in rows:
        names = re.findall(r"`([^`]+)`", row)
        stem = names[0].rpartition("/")[0]
        for name in names:
            assert (ROOT / name).exists() or (ROOT / stem / name).exists(), name
