"""The files of a folder, and the states of a dish: what is written when, and what can be gone back to."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import BadInput, Diagnosis, Impossible, Recipe, load_foods
from ratio_solver.page import answer
from ratio_solver.page.edits import Change
from ratio_solver.page.folder import BOM, ChangedOnDisk, Folder, NotThere
from ratio_solver.page.history import MOST_STEPS, History, InBowl, State
from ratio_solver.page.open_dish import OpenDish
from ratio_solver.solving.infeasible.without_weights import without_weights
from tests.page.conftest import ROOT

FOODS = load_foods()
MAX = ("ingredients", 4, "max")


@pytest.fixture
def gratin(tmp_path: Path) -> Path:
    return Path(shutil.copy(ROOT / "examples" / "celeriac-gratin.toml", tmp_path / "gratin.toml"))


def opened(path: Path) -> OpenDish:
    folder = Folder(path.parent)
    data = folder.data_of(path.name)
    return OpenDish(path.name, data.decode("utf-8-sig"), folder, FOODS, saved=data)


@pytest.mark.parametrize("begin, ending", [(b"", b"\n"), (BOM, b"\n"), (b"", b"\r\n"), (BOM, b"\r\n")])
def test_a_saved_file_keeps_its_mark_and_its_ends_of_lines(begin: bytes, ending: bytes, gratin: Path) -> None:
    gratin.write_bytes(begin + gratin.read_bytes().replace(b"\n", ending))
    gratin.chmod(0o640)
    before = gratin.read_bytes()
    dish = opened(gratin)
    dish.change([Change(MAX, 500)])
    dish.save()
    assert gratin.read_bytes() == before.replace(b"max = 550", b"max = 500")
    assert gratin.stat().st_mode & 0o777 == 0o640
    assert [path.name for path in gratin.parent.iterdir()] == ["gratin.toml"]


def test_what_another_program_wrote_is_never_overwritten_unasked(gratin: Path) -> None:
    dish = opened(gratin)
    dish.change([Change(MAX, 500)])
    gratin.write_text("title = 1\n", encoding="utf-8")
    with pytest.raises(ChangedOnDisk):
        dish.save()
    assert gratin.read_text("utf-8") == "title = 1\n"
    dish.look_at_disk()
    dish.keep_here()
    gratin.write_text("title = 2\n", encoding="utf-8")  # and again, after the cook was asked
    with pytest.raises(ChangedOnDisk):
        dish.save()
    dish.look_at_disk()
    dish.keep_here()
    dish.save()
    assert "max = 500" in gratin.read_text("utf-8")


def test_a_file_that_is_gone_is_saved_under_a_name(gratin: Path) -> None:
    dish = opened(gratin)
    gratin.unlink()
    dish.look_at_disk()
    assert dish.changed_on_disk and dish.disk is None
    with pytest.raises(NotThere):
        dish.save()
    dish.keep_here()
    dish.save("again")
    assert (gratin.parent / "again.toml").exists() and not gratin.exists()


def test_a_file_that_cannot_be_written_is_a_fault(gratin: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    dish = opened(gratin)
    before = gratin.read_bytes()
    dish.change([Change(MAX, 500)])
    monkeypatch.setattr("os.replace", lambda *paths: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(BadInput, match="No space left"):
        dish.save()
    assert gratin.read_bytes() == before and dish.unsaved


def test_a_movement_is_one_step_back(gratin: Path) -> None:
    dish = opened(gratin)
    for grams in range(549, 500, -1):
        dish.change([Change(MAX, grams)], "max of 4")
    dish.change([Change(MAX, 501)])
    assert len(dish.history.past) == 1
    dish.undo()
    assert not dish.unsaved
    dish.redo()
    assert dish.recipe.ingredients[4].maximum == 501
    dish.change([Change(MAX, 480)], "max of 4")  # another movement of the same bound
    assert len(dish.history.past) == 2 and not dish.history.future


def test_what_can_be_gone_back_to_has_an_end() -> None:
    history = History(State("0"))
    for number in range(MOST_STEPS + 50):
        history = history.changed(State(str(number + 1)))
    assert len(history.past) == MOST_STEPS
    for _ in range(MOST_STEPS + 5):
        history = history.undone()
    assert history.now.text == "50"


def test_an_ingredient_is_in_the_bowl_once() -> None:
    state = State("", take=2).weighed(InBowl("cream", 480)).weighed(InBowl("butter", 9)).weighed(InBowl("cream", 470))
    assert {one.label: one.grams for one in state.bowl} == {"cream": 470, "butter": 9}
    assert state.take is None
    assert state.taken_out("cream").bowl == (InBowl("butter", 9),)


def test_only_recipes_are_listed(gratin: Path) -> None:
    (gratin.parent / "pyproject.toml").write_text("[tool]\n", encoding="utf-8")
    (gratin.parent / "broken.toml").write_text("title = ", encoding="utf-8")
    (gratin.parent / ".hidden").mkdir()
    shutil.copy(gratin, gratin.parent / ".hidden" / "dish.toml")
    (gratin.parent / "sub").mkdir()
    shutil.copy(gratin, gratin.parent / "sub" / "dish.toml")
    found = [(one.name, one.title, one.fault) for one in Folder(gratin.parent).recipes()]
    title = "Gratin of celeriac and kohlrabi"
    assert found == [("broken.toml", "", "cannot be read"), ("gratin.toml", title, ""), ("sub/dish.toml", title, "")]


def test_what_was_not_found_in_the_time_is_not_called_impossible(gratin: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_short(recipe: Recipe, **asked: Any) -> Impossible:
        return without_weights(recipe, "closest", Diagnosis((), undecided=True))

    monkeypatch.setattr(answer, "solve", cut_short)
    origin = answer.Origin(gratin.name, str(gratin.parent))
    found = answer.answer_of(FOODS, State(gratin.read_text(encoding="utf-8")), origin)
    assert (found.outcome, found.figures) == ("undecided", ())
    assert "whether there are any stays open" in found.said[0]
