"""The first example of the README is real: its files, its command and the answer it prints."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.render import show

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


def _plain(text: str) -> list[str]:
    return [line.rstrip() for line in text.strip().splitlines()]


CONSOLES = re.findall(r"```console\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize("block", CONSOLES, ids=lambda b: b.split()[2])
def test_the_printed_answer_is_what_the_command_prints(
    block: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    command, _, printed = block.partition("\n")
    argv = shlex.split(command.removeprefix("$ amptrail "))
    paths = [a for a in argv if a.startswith("demos/")]
    monkeypatch.setenv("COLUMNS", "80")
    show(answer(argv, Files({p: (ROOT / p).read_text(encoding="utf-8") for p in paths})))
    assert _plain(capsys.readouterr().out) == _plain(printed)
