"""The kitchen's commands: what they print, write and exit with."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main

TART = """
title = "Leek tart without a crust"
servings = 4
pieces = 2
cooking_loss = 0.1

[targets]
ratio = 2.0
net_carbs = 6
protein = {min = 5}

[[ingredients]]
food = "leek, raw"
label = "leek"
grams = 300
min = 100
max = 400
part = "filling"

[[ingredients]]
food = "egg, whole, raw"
label = "egg"
measure = "3 large"
part = "filling"

[[ingredients]]
food = "butter, salted"
label = "butter"
grams = 60
min = 0
max = 100

[[ingredients]]
food = "salt"
grams = 3
"""


@pytest.fixture
def tart(tmp_path: Path) -> str:
    path = tmp_path / "tart.toml"
    path.write_text(TART)
    return str(path)


def run(*args: str) -> Result:
    result = CliRunner().invoke(main, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def data(*args: str) -> dict[str, Any]:
    found = json.loads(run(*args, "--format", "json").stdout)
    assert isinstance(found, dict)
    return found


def test_every_report_fits_80_columns(tart: str) -> None:
    for args in (("shopping", tart), ("portions", tart), ("portions", tart, "--portion-grams", "90"),
                 ("check", tart, "--measures", "--scale-error", "oiml"), ("solve", tart, "--measures"),
                 ("adjust", tart, "--weighed", "leek=250"), ("adjust", tart, "--weighed", "leek=900")):
        text = run(*args).stdout
        assert text and max(map(len, text.splitlines())) <= 80, args


def test_shopping_for_more_servings(tart: str) -> None:
    text = run("shopping", tart, "--as-written", "--servings", "8").stdout
    assert "what to buy for 8 servings" in text
    assert "6 large  egg, whole, raw" in text
    found = data("shopping", tart, "--as-written", "--servings", "8")
    assert found["servings"] == 8
    leek = next(p for p in found["purchases"] if p["food"] == "leek, raw")
    assert leek["raw_g"] == 600 and leek["bought_g"] == pytest.approx(600 / 0.44)  # 56 % refuse, NDB 11246
    rows = list(csv.DictReader(io.StringIO(run("shopping", tart, "--format", "csv").stdout)))
    assert {row["food"] for row in rows} == {"leek, raw", "egg, whole, raw", "butter, salted", "salt"}


def test_portions_in_three_forms(tart: str) -> None:
    text = run("portions", tart, "--as-written").stdout
    assert "4 x 75" in text and "g per piece" in text and "no medical" in text
    found = data("portions", tart, "--as-written", "--portion-grams", "100")
    assert (found["servings"], found["batch_g"], found["cooked_g"]) == (4, 513, 461.7)
    assert found["left_g"] == pytest.approx(61.7)
    rows = csv.DictReader(io.StringIO(run("portions", tart, "--as-written", "--format", "csv").stdout))
    total = sum(int(row["servings"]) * float(row["grams"]) for row in rows)
    assert total == pytest.approx(513)


def test_scale_error_in_json_and_text(tart: str) -> None:
    found = data("check", tart, "--scale-error", "0")["scale_error"]
    plain = data("check", tart)["per_serving"]
    assert found["ratio"]["low"] == found["ratio"]["high"] == pytest.approx(plain["ratio"])
    found = data("solve", tart, "--scale-error", "oiml")["scale_error"]
    assert found["ratio"]["low"] < 2 < found["ratio"]["high"] and found["errors_g"][-1] == 1
    assert [t["kept"] for t in found["targets"] if t["name"] == "ratio"] == [False]
    assert "may be missed" in run("solve", tart, "--scale-error", "1").stdout
    assert "scale_error" not in data("solve", tart)
    assert run("check", tart, "--scale-error", "much").exit_code == 1


def test_measures_stand_beside_weights(tart: str) -> None:
    assert "≈ 3 large" in run("check", tart, "--measures").stdout
    assert "≈" not in run("check", tart).stdout
    assert [w["measure"] for w in data("check", tart)["weights"]][1] == "3 large"
    solved = {w["ingredient"]: w for w in data("solve", tart)["weights"]}
    assert abs(solved["butter"]["grams"] - 14.2 * 6.75) < 2 and solved["butter"]["measure"] == "6 3/4 tbsp"


def test_an_impossible_dish_has_nothing_to_buy(tart: str) -> None:
    for command in ("shopping", "portions"):
        result = run(command, tart, "--ratio", "50")
        assert result.exit_code == 3 and not result.stdout
        assert "impossible; these cannot be kept together" in result.stderr
    assert run("solve", tart, "--ratio", "50", "--scale-error", "1", "--measures").exit_code == 3
    assert data("solve", tart, "--ratio", "50", "--scale-error", "1")["scale_error"] is None


def test_an_adjusted_bowl_written_and_read_again_passes_check(tart: str, tmp_path: Path) -> None:
    written = str(tmp_path / "bowl.toml")
    result = run("adjust", tart, "--weighed", "leek=160", "--added", "butter=40", "--write", written)
    assert result.exit_code == 0 and "160 in the bowl" in result.stdout
    again = run("check", written)
    assert again.exit_code == 0, again.stdout
    found = data("adjust", tart, "--weighed", "leek=160", "--added", "butter=40")
    assert found["outcome"] == "solved" and found["weighed"] == {"leek": 160} and found["added"] == {"butter": 40}
    assert data("check", written)["per_serving"]["fat_g"] == pytest.approx(found["per_serving"]["fat_g"])


def test_a_solved_dish_written_keeps_its_limits(tart: str, tmp_path: Path) -> None:
    written = tmp_path / "dish.toml"
    assert run("solve", tart, "--write", str(written)).exit_code == 0
    assert run("check", str(written)).exit_code == 0
    assert data("check", str(written))["per_serving"] == data("solve", tart)["per_serving"]
    lost = tmp_path / "none.toml"
    assert run("solve", tart, "--ratio", "50", "--write", str(lost)).exit_code == 3 and not lost.exists()


def test_foods_tell_the_ways_they_may_be_prepared() -> None:
    shown = " ".join(run("foods", "show", "ndb:23572").stdout.split())
    assert "prepared share of its weight: broiled 0.667 (59 % of its fat), pan-browned 0.636 (55 % of its fat)" in shown
    assert data("foods", "show", "ndb:23572")["yields"]["broiled"]["fat_kept"] == 0.59
    assert data("foods", "show", "butter, salted")["yields"] == {}


def test_a_bowl_beyond_repair_tells_the_ways_out(tart: str, tmp_path: Path) -> None:
    bowl = ("--weighed", "leek=320", "--weighed", "butter=60")
    found = data("adjust", tart, *bowl)
    assert found["outcome"] == "impossible" and found["weights"] == [] and found["remedies"]
    result = run("adjust", tart, *bowl)
    assert result.exit_code == 3 and "What would do" in result.stdout
    for k, remedy in enumerate(found["remedies"], 1):
        assert remedy["words"] in " ".join(result.stdout.split())
        written = str(tmp_path / f"way-{k}.toml")
        taken = run("adjust", tart, *bowl, "--take", str(k), "--write", written)
        assert taken.exit_code == 0 and "adjusted: " in taken.stdout
        assert run("check", written).exit_code == 0
    assert run("adjust", tart, *bowl, "--take", "9").exit_code == 1
    nothing = tmp_path / "none.toml"
    assert run("adjust", tart, *bowl, "--write", str(nothing)).exit_code == 3 and not nothing.exists()


@pytest.mark.parametrize(("args", "expected"), [
    (("--weighed", "leak=3"), "did you mean leek?"),
    (("--weighed", "leek"), "expected NAME=GRAMS"),
    (("--weighed", "leek=-3"), "expected NAME=GRAMS"),
    (("--weighed", "leek=3", "--added", "leek, raw=3"), "expected leek once"),
    (("--weighed", "leek=9e9"), "0 to 1,000,000"),
    (("--weighed", "leek=1", "--weighed", "leek=2"), "expected each name once"),
    (("--added", "raw=3"), "fits several ingredients: 'leek' or 'egg'"),
])
def test_faults_of_what_is_in_the_bowl(tart: str, args: tuple[str, ...], expected: str) -> None:
    result = run("adjust", tart, *args)
    assert result.exit_code == 1 and expected in result.stderr and not result.stdout
