"""The library's front door: every name that is offered is there, and nothing is loaded before it is asked for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import ratio_solver

ROOT = Path(__file__).resolve().parent.parent


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
