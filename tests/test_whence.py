"""JSON says which composition tables its figures are from: the hash is that of the file, taken here again."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

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
