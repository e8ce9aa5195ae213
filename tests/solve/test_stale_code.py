"""Machine code on disk older than any source it was made from is thrown away, the rest stays."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from amptrail.solve.stale import drop_stale

ONE_LINE = "from amptrail.solve.laws import A, B\n"
SEVERAL_LINES = "from amptrail.solve.laws import (\n    A,\n    B,\n)  # fmt: skip\n"
MODULE = "from amptrail.solve import laws\n"
SEVERAL_MODULES = "from amptrail.solve import (\n    laws,  # the laws\n)\n"
OTHER = "from amptrail.solve.plain import (\n    put,\n)\n"


def written(path: Path, text: str, at_s: int) -> Path:
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    os.utime(path, (at_s, at_s))
    return path


@pytest.mark.parametrize("imports", [ONE_LINE, SEVERAL_LINES, MODULE, SEVERAL_MODULES])
def test_an_edit_drops_the_code_of_all_that_imports_it_near_and_far(tmp_path: Path, imports: str) -> None:
    written(tmp_path / "laws.py", "A = B = 1\n", 300)  # edited after everything was compiled
    written(tmp_path / "plain.py", "put = 1\n", 100)
    written(tmp_path / "newton.py", f"{imports}@njit\n", 100)
    written(tmp_path / "kernel.py", "from amptrail.solve.newton import (\n    solve,\n)\n@njit\n", 100)
    written(tmp_path / "apart.py", f"{OTHER}@njit\n", 100)
    cache = tmp_path / "__pycache__"
    near = written(cache / "newton.solve-1.py311.nbi", "", 200)
    far = written(cache / "kernel.run-1.py311.nbc", "", 200)
    kept = written(cache / "apart.f-1.py311.nbi", "", 200)
    assert drop_stale(tmp_path) == 2
    assert not near.exists() and not far.exists() and kept.exists()
    assert drop_stale(tmp_path) == 0
