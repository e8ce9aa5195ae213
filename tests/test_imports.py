"""The architecture as a test: imports point one way (design/0001), and there is no cycle."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "src" / "amptrail"
LAYERS: list[set[str]] = [
    {"errors"},
    {"units"},
    {"reference"},
    {"circuit"},
    {"sheet"},
    {"solve", "twin"},
    {"belief", "faults", "instruments", "cycle", "checker"},
    {"plan", "store", "exchange", "feed", "paper", "recording", "draw"},
    {"jobs"},
    {"web"},
    {"cli"},
]
RANK = {name: i for i, layer in enumerate(LAYERS) for name in layer}
# packages that take tables only, and the checker, which shares nothing with the prover
PURE = {
    "belief": {"belief", "errors", "units"},
    "plan": {"plan", "belief", "errors", "units"},
    "checker": {"checker", "circuit", "sheet", "twin", "reference", "errors", "units"},
}


def _imports() -> list[tuple[str, str, Path]]:
    found = []
    for file in ROOT.rglob("*.py"):
        package = file.relative_to(ROOT).parts[0].removesuffix(".py")
        if package == "__init__" or package == "__main__":
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            modules = []
            if isinstance(node, ast.ImportFrom) and node.module:
                assert node.level == 0, f"{file}: relative import"
                modules = [node.module]
                if node.module == "amptrail":
                    modules = [f"amptrail.{a.name}" for a in node.names]
            elif isinstance(node, ast.Import):
                modules = [a.name for a in node.names]
            for m in modules:
                bits = m.split(".")
                if bits[0] == "amptrail" and len(bits) > 1:
                    found.append((package, bits[1], file))
    return found


def test_every_package_has_a_layer() -> None:
    names = {p.name for p in ROOT.iterdir() if p.is_dir() and (p / "__init__.py").exists()}
    assert names <= set(RANK), names - set(RANK)


def test_imports_point_downwards() -> None:
    wrong = [
        f"{file.relative_to(ROOT)} imports {to}"
        for package, to, file in _imports()
        if package != to and (RANK[to] > RANK[package] or (RANK[to] == RANK[package]))
    ]
    assert not wrong, wrong


@pytest.mark.parametrize("package", sorted(PURE))
def test_pure_packages_never_reach_the_solver(package: str) -> None:
    wrong = [f"{f}: {to}" for p, to, f in _imports() if p == package and to not in PURE[package]]
    assert not wrong, wrong


def test_solver_and_twin_are_strangers() -> None:
    assert not [f for p, to, f in _imports() if {p, to} == {"solve", "twin"}]


def test_no_cycle_between_modules() -> None:
    graph: dict[str, set[str]] = {}
    for file in ROOT.rglob("*.py"):
        name = ".".join(("amptrail", *file.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
        wanted = graph.setdefault(name, set())
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("amptrail"):
                module = node.module or ""
                for alias in node.names:
                    deeper = f"{module}.{alias.name}"
                    path = ROOT.parent.joinpath(*deeper.split("."))
                    is_module = path.with_suffix(".py").exists() or path.is_dir()
                    wanted.add(deeper if is_module else module)
            elif isinstance(node, ast.Import):
                wanted |= {a.name for a in node.names if a.name.startswith("amptrail.")}
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail[trail.index(name) :], name))
        if name in done:
            return
        for other in graph.get(name, ()):
            if other != name:
                visit(other, (*trail, name))
        done.add(name)

    for name in list(graph):
        visit(name, ())


# the folders of the use cases, lowest first; what lies in `jobs` itself needs solved states only
INSIDE = (
    "base", "solved", "", "evidence", "judging", "feeding", "night", "practise", "studying", "log",
    "recorded",
    "papers",
)  # fmt: skip


def test_use_cases_import_downwards_too() -> None:
    jobs = ROOT / "jobs"
    folders = {p.name for p in jobs.iterdir() if (p / "__init__.py").exists()}
    assert folders == set(INSIDE) - {""}
    wrong = []
    for file in jobs.rglob("*.py"):
        mine = file.relative_to(jobs).parts[0] if file.parent != jobs else ""
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("amptrail.jobs"):
                after = (node.module or "").split(".")[2:]
                for to in [after[0]] if after else [a.name for a in node.names]:
                    theirs = to if to in folders else ""
                    if INSIDE.index(theirs) > INSIDE.index(mine):
                        wrong.append(f"{file.relative_to(jobs)} imports {to}")
    assert not wrong, wrong
