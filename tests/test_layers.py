"""The rooms of the house: data flows one way, and heavy libraries stay where they are needed."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "ratio_solver"
MODULES = sorted(PACKAGE.rglob("*.py"))

ORDER = ("errors", "exact", "outcome", "foods", "recipe", "dish", "lp", "solving", "output", "tools", "menu", "day",
         "page", "cli")
"""A room may import from those before it."""

MAY_IMPORT = {room: set(ORDER[:place]) for place, room in enumerate(ORDER)} | {"lp": {"errors", "exact"}}
HEAVY = {"multiprocessing", "concurrent", "pandas", "matplotlib", "jinja2", "scipy", "dask", "distributed", "openpyxl",
         "rich", "rapidfuzz", "uvicorn", "PIL"}
HOME = {"scipy": {"lp"}, "click": {"cli", "output", "tools", "menu", "day", "page"}, "pandas": {"menu"},
        "starlette": {"page"}, "uvicorn": {"page"}, "tomlkit": {"page"},
        "rich": {"output", "menu"}}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> Iterator[tuple[str, bool, int]]:
    """(module, inside a function, line) for every import of a file."""

    def visit(node: ast.AST, inside: bool) -> Iterator[tuple[str, bool, int]]:
        for child in ast.iter_child_nodes(node):
            deeper = inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            if isinstance(child, ast.Import):
                yield from ((alias.name, inside, child.lineno) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{path}: relative import"
                yield child.module or "", inside, child.lineno
            yield from visit(child, deeper)

    yield from visit(ast.parse(path.read_text(encoding="utf-8")), False)


@pytest.mark.parametrize("path", [p for p in MODULES if room(p) in MAY_IMPORT], ids=str)
def test_imports_obey_the_layers(path: Path) -> None:
    mine = room(path)
    for module, _, line in imports(path):
        if module.startswith("ratio_solver."):
            other = module.split(".")[1]
            assert other == mine or other in MAY_IMPORT[mine], f"{path}:{line}: {mine} imports {other}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_libraries_stay_at_home(path: Path) -> None:
    for module, _, line in imports(path):
        library = module.split(".")[0]
        if library in HOME and room(path) not in HOME[library]:
            pytest.fail(f"{path}:{line}: {library} is imported outside {HOME[library]}")


def test_the_solver_is_called_in_one_module() -> None:
    calling = {path.name for path in MODULES for module, _, _ in imports(path) if module.split(".")[0] == "scipy"}
    assert calling == {"highs.py"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_inside_functions_only_keep_heavy_libraries_away(path: Path) -> None:
    if path.name in ("command.py", "options.py", "__init__.py"):
        return  # the command line loads what a command needs when it needs it
    for module, inside, line in imports(path):
        if inside:
            assert module.split(".")[0] in HEAVY, f"{path}:{line}: {module} inside a function"


def test_no_cycle() -> None:
    graph = {
        ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"):
        {module for module, inside, _ in imports(path) if module.startswith("ratio_solver") and not inside}
        for path in MODULES if path.name != "__init__.py"
    }
    done: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, f"import cycle: {' -> '.join((*path, module))}"
        if module not in done:
            for other in graph.get(module, set()):
                visit(other, (*path, module))
            done.add(module)

    for module in graph:
        visit(module, ())


def test_modules_are_small() -> None:
    long = {str(p.relative_to(PACKAGE)): n for p in MODULES if (n := len(p.read_text().splitlines())) > 400}
    assert not long
