"""The deliberate faults are where they are said to be: a fault that no longer applies would count for nothing."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.mutation import __main__ as run
from tests.mutation.faults import FAULTS, Fault

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_applies(fault: Fault) -> None:
    """Its text stands once in its file, what is written there is another program, and its tests exist."""
    text = (ROOT / "ratio_solver" / fault.file).read_text(encoding="utf-8")
    changed = run.with_fault(text, fault)
    assert ast.dump(ast.parse(changed)) != ast.dump(ast.parse(text))
    assert fault.tests
    for test in fault.tests:
        path, _, name = test.partition("::")
        assert (ROOT / "tests" / path).exists(), test
        assert not name or f"def {name.partition('[')[0]}(" in (ROOT / "tests" / path).read_text(encoding="utf-8"), test


def test_names_tell_faults_apart() -> None:
    assert len({fault.name for fault in FAULTS}) == len(FAULTS)


def test_a_fault_whose_place_is_gone_is_an_error() -> None:
    with pytest.raises(ValueError, match="0 times"):
        run.with_fault("x = 1\n", FAULTS[0])


@pytest.mark.slow
def test_the_score_is_told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A fault in a docstring passes, one that stops the module does not; and the project is as it was."""
    file = "exact.py"
    text = (ROOT / "ratio_solver" / file).read_text(encoding="utf-8")
    monkeypatch.setattr(run, "FAULTS", (
        Fault("nothing", file, "as they were written", "as they had been written", ("lp/test_certificate.py",)),
        Fault("all", file, "def dot(", "def dote(", ("lp/test_certificate.py",))))
    assert run.main(["nothing", "all"]) == 1
    said = capsys.readouterr().out
    assert "1 of 2 faults noticed" in said and said.splitlines()[-1] == "not noticed: exact.py: nothing"
    assert run.main(["all"]) == 0
    assert (ROOT / "ratio_solver" / file).read_text(encoding="utf-8") == text
