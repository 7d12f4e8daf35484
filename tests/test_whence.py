"""JSON says which composition tables its figures are from: the hash is that of the file, taken here again."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import MenuOptions, load_foods, solve_menu
from ratio_solver.cli import main
from tests.kitchen import food, table_file

ROOT = Path(__file__).resolve().parent.parent
GRATIN = str(ROOT / "examples" / "celeriac-gratin.toml")
TUESDAY = str(ROOT / "examples" / "day" / "tuesday.toml")


@pytest.mark.parametrize("arguments", [
    ("solve", GRATIN), ("check", GRATIN), ("add-fat", GRATIN), ("curve", GRATIN), ("portions", GRATIN),
    ("shopping", GRATIN), ("swap", GRATIN, "kohlrabi", "cauliflower, raw"), ("day", TUESDAY), ("foods", "show", "salt"),
    ("adjust", GRATIN, "--weighed", "kohlrabi=300"), ("solve", GRATIN, "--what-if", "ratio=1.5"),
], ids=lambda one: " ".join(Path(part).name for part in one))
def test_json_names_its_tables(arguments: tuple[str, ...], tmp_path: Path) -> None:
    own = table_file(tmp_path, food("guest oil", 100, 0, 0))
    done = CliRunner().invoke(main, [*arguments, "--format", "json", "--foods", str(own)])
    assert done.exit_code in (0, 3), done.stderr
    hashes = [one["sha256"] for one in json.loads(done.stdout)["tables"]]
    assert hashes == [hashlib.sha256(path.read_bytes()).hexdigest()
                      for path in (ROOT / "data" / "foods.csv", Path(own))]


def test_a_menu_names_the_tables_of_its_recipes(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    bundled = hashlib.sha256((ROOT / "data" / "foods.csv").read_bytes()).hexdigest()
    own = table_file(tmp_path, food("guest oil", 100, 0, 0))
    for name, tables in (("plain", ""), ("own", 'foods = ["own.csv"]'), ("again", 'foods = ["own.csv"]')):
        (tmp_path / f"{name}.toml").write_text(
            f'title = "{name}"\nservings = 1\n{tables}\n[targets]\nratio = 1\n[[ingredients]]\n'
            'food = "butter, salted"\ngrams = 50\nmin = 10\nmax = 90\n', encoding="utf-8")
    menu = pandas.DataFrame({"file": ["plain.toml", "own.toml", "again.toml"]})
    found = solve_menu(menu, load_foods(), MenuOptions(folder=str(tmp_path))).to_dict()
    assert found["counts"] == {"solved": 3, "impossible": 0, "unreadable": 0}
    assert [one["sha256"] for one in found["tables"]] == [bundled, hashlib.sha256(own.read_bytes()).hexdigest()]
    rows = pandas.DataFrame({"recipe": ["one"], "food": ["butter, salted"], "grams": [10], "servings": [1],
                             "ratio": [1.0]})
    assert [one["sha256"] for one in solve_menu(rows).to_dict()["tables"]] == [bundled]
