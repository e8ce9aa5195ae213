"""The scripts of the pages are sound by their JSDoc types, and the check finds a wrong one."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "src" / "amptrail" / "web" / "static"
NOT_CHECKED = 3


def checked(config: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(ROOT / "scripts" / "check_scripts.py"), str(config)]
    got = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    if got.returncode == NOT_CHECKED and not os.environ.get("CI"):
        pytest.skip("NO NODE OR NO COMPILER: the scripts of the pages are NOT type-checked")
    return got


def test_every_script_is_sound() -> None:
    got = checked(ROOT / "tsconfig.json")
    assert got.returncode == 0, got.stdout + got.stderr


def test_a_wrong_type_is_found(tmp_path: Path) -> None:
    for kept in STATIC.glob("*.js"):
        shutil.copy(kept, tmp_path)
    queue = tmp_path / "queue.js"
    queue.write_text(
        queue.read_text().replace('return "p" + ', "return 1 + Number(").replace('.join("");', '.join(""));')
    )
    asked = json.loads((ROOT / "tsconfig.json").read_text())
    asked["include"] = ["*.js"]
    (tmp_path / "tsconfig.json").write_text(json.dumps(asked))
    got = checked(tmp_path / "tsconfig.json")
    assert got.returncode == 1 and "queue.js" in got.stdout, got.stdout + got.stderr
    assert "is not assignable to type 'string'" in got.stdout
