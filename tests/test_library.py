"""The library's front door: every name that is offered is there, and nothing is loaded before it is asked for."""

from __future__ import annotations

import doctest
import inspect
import io
import pydoc
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import ratio_solver

ROOT = Path(__file__).resolve().parent.parent
MODULES = [".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
           for path in sorted(Path(ratio_solver.__file__).parent.rglob("*.py")) if ">>> " in path.read_text("utf-8")]
FUNCTIONS = [name for name in ratio_solver.__all__ if not inspect.isclass(getattr(ratio_solver, name))]
RAISES_NOTHING = {"match", "prescription", "bundled_yields", "cautions", "fixed", "household", "recipe_text"}


@pytest.mark.parametrize("name", ratio_solver.__all__)
def test_every_name_is_there(name: str) -> None:
    assert getattr(ratio_solver, name).__doc__, "a public name says what it is"


def test_another_name_is_not() -> None:
    with pytest.raises(AttributeError, match="no attribute 'sovle'"):
        ratio_solver.sovle  # noqa: B018


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = "import sys, ratio_solver; print([m for m in ('numpy', 'scipy', 'pandas', 'click') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "[]"


def test_the_names_are_listed_before_they_are_used() -> None:
    code = ("import sys, ratio_solver; found = set(ratio_solver.__all__) - set(dir(ratio_solver)); "
            "print(found, 'ratio_solver.solving.solve' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "set() False"


def test_help_says_what_there_is() -> None:
    said = pydoc.render_doc(ratio_solver, renderer=pydoc.plaintext)
    for name in ratio_solver.__all__:
        kind = "" if name in FUNCTIONS else "class "
        assert f"\n    {kind}{name}(" in said, name


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_says_what_it_takes_returns_and_raises_with_an_example(name: str) -> None:
    function = getattr(ratio_solver, name)
    said = inspect.getdoc(function) or ""
    parameters = inspect.signature(inspect.unwrap(function)).parameters.values()
    assert all(parameter.kind is not parameter.VAR_KEYWORD for parameter in parameters), "each option has its name"
    heads = {"Parameters": bool(parameters), "Returns": True, "Raises": name not in RAISES_NOTHING, "Examples": True}
    for head, wanted in heads.items():
        assert (f"\n{head}\n{'-' * len(head)}\n" in said) == wanted, head
    listed = said.partition("\nParameters\n")[2].partition("\nReturns\n")[0]
    assert all(parameter.name in listed for parameter in parameters)
    assert ">>> " in said


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_hold(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    told = io.StringIO()
    monkeypatch.setattr(sys, "stdout", told)
    assert not doctest.testmod(import_module(name)).failed, told.getvalue()


def test_figures_are_floats_for_use_and_exact_beside(monkeypatch: pytest.MonkeyPatch) -> None:
    """A format string takes them on Python 3.11, where it does not take a fraction."""
    monkeypatch.chdir(ROOT)
    dish = ratio_solver.read_recipe("examples/mascarpone-slice.toml", ratio_solver.load_foods())
    answer = ratio_solver.solve(dish, exact=True)
    assert isinstance(answer, ratio_solver.Proposal)
    for weight in answer.weights:
        assert answer.weights_g[weight.ingredient] == float(weight.grams)
        assert f"{answer.weights_g[weight.ingredient]:.1f}" == f"{float(weight.grams):.1f}"
    figures = answer.per_serving
    assert next(iter(figures)) == "ratio" and figures["ratio"] == float(answer.facts.ratio or 0)
    assert {column: float(amount) for column, amount in answer.facts.amounts.items()}.items() <= figures.items()
    assert figures["weight_g"] == float(answer.facts.weight)
    assert figures.keys() == answer.to_dict()["per_serving"].keys()  # type: ignore[attr-defined]
