"""The tables that come with the package are read row by row, and that is as good as reading them in whole."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import FoodTable, load_foods
from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from ratio_solver.foods import bundled, table
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, bundled_path
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.food import Foods
from ratio_solver.foods.rows import foods_in
from ratio_solver.foods.table import CHECKED, known_foods
from tools.composition import checked

ROOT = Path(__file__).resolve().parents[2]
GRATIN = ROOT / "examples" / "celeriac-gratin.toml"
BUTTER = '"butter, salted",ndb:01001,by_difference,81.11,'
FILES = (DEFAULT_TABLE, *BUNDLED.values())


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that is taken for the package's own, with its tables."""
    folder = tmp_path / "data"
    folder.mkdir()
    for name in (*FILES, CHECKED):
        (folder / name).write_bytes(bundled_path(name).read_bytes())
    monkeypatch.setattr(bundled, "bundled_path", lambda file=DEFAULT_TABLE: folder / file)
    monkeypatch.setattr(table, "bundled_path", lambda file=DEFAULT_TABLE: folder / file)
    forget()
    yield folder
    forget()


def unread(foods: Foods) -> int:
    return sum("food" not in vars(row) for row in foods.rows)


def forget() -> None:
    table._recorded.cache_clear()
    table._read_layer.cache_clear()


@pytest.mark.parametrize("file", FILES)
def test_every_row_by_itself_is_as_in_the_whole(file: str) -> None:
    """The table as the reader of one's own tables has it, without a fault; row, name, id, role and columns."""
    foods, faults = foods_in(read_csv(bundled_path(file)))
    found = known_foods(bundled_path(file))
    assert not faults
    assert found is not None, "the table has changed: python -m tools.composition.checked"
    assert [(row.name, row.id) for row in found.rows] == [(food.name, food.id) for food in foods]
    for role in {food.role for food in foods}:
        assert found.with_role(role) == tuple(food for food in foods if food.role == role)
    assert list(found) == foods
    assert found.columns == Foods(foods).columns


@pytest.mark.parametrize("tables", [(), ("europe",), ("examples/own-foods.csv",), ("europe", "examples/own-foods.csv")])
def test_tables_laid_over_one_another_are_as_when_read_in_whole(tables: tuple[str, ...], data: Path) -> None:
    by_row = load_foods(*tables)
    (data / CHECKED).unlink()
    forget()
    whole = load_foods(*tables)
    assert isinstance(by_row.foods, Foods) and isinstance(whole.foods, Foods)
    assert unread(by_row.foods) > 1000 and unread(whole.foods) <= sum(bool(food.replaces) for food in whole)
    assert list(by_row) == list(whole)
    assert [(food.replaces, food.dropped) for food in by_row] == [(food.replaces, food.dropped) for food in whole]
    assert by_row.columns == whole.columns


def test_a_table_that_somebody_has_changed_is_checked_in_whole(data: Path) -> None:
    """A wrong cell in a row that the recipe does not use: a known table would not look at it."""
    path = data / DEFAULT_TABLE
    text = path.read_text("utf-8")
    assert CliRunner().invoke(main, ["check", str(GRATIN)]).exit_code in (0, 3)
    path.write_text(text.replace(BUTTER, BUTTER.replace("81.11", "x")), encoding="utf-8")
    forget()
    with pytest.raises(BadInput, match="line 2, fat_g"):
        load_foods()


def test_a_table_that_was_changed_rightly_counts(data: Path) -> None:
    path = data / DEFAULT_TABLE
    text = path.read_text("utf-8")
    path.write_text(text.replace(BUTTER, BUTTER.replace("81.11", "81.2")), encoding="utf-8")
    forget()
    assert load_foods().get("butter, salted").amounts["fat_g"] == 81.2


def test_a_food_is_read_once_and_alone() -> None:
    foods = known_foods(bundled_path())
    first = foods[0]
    assert first is foods[0] and first is foods.rows[0].food
    assert [("food" in vars(row)) for row in foods.rows[:3]] == [True, False, False]


def test_a_table_that_is_sent_elsewhere_is_whole() -> None:
    foods = load_foods("europe")
    there = pickle.loads(pickle.dumps(foods))
    assert there == foods and there.columns == foods.columns
    assert there.get("celeriac, raw") == foods.get("celeriac, raw")


def test_a_table_of_foods_alone_is_a_table() -> None:
    some = load_foods().foods[:3]
    assert FoodTable(some).with_role(some[0].role)[0] == some[0]
    assert FoodTable(some).get(some[1].id.upper()) == some[1]


def test_what_is_recorded_is_told_of_a_wrong_table(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert checked.main([str(data)]) == 0
    assert (data / CHECKED).read_bytes() == bundled_path(CHECKED).read_bytes()
    own = data / "europe.csv"
    own.write_text(own.read_text("utf-8").replace(",available,", ",perhaps,", 1), encoding="utf-8")
    assert checked.main([str(data)]) == 1
    assert "carb_basis" in capsys.readouterr().err
    assert "europe.csv" not in (data / CHECKED).read_text("utf-8")
