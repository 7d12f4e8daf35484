"""The header of the curves says under which ceiling on net carbs its ratio is the best."""

from __future__ import annotations

from pathlib import Path

import pytest

from ratio_solver import curve, recipe_from
from ratio_solver.output.terminal import plain_text
from ratio_solver.tools.curve.report import text as curves_text
from tests.kitchen import dish, food, table


@pytest.mark.parametrize(("of", "ceiling", "said", "ratio"), [
    (["net-carbs", "ratio"], 2, "best reachable 2:1 at up to 2 g net carbs", 2),
    (["ratio"], 2, "best reachable 2:1 at up to 2 g net carbs", 2),
    (["net-carbs"], 2, "best reachable 3:1, whatever the net carbs", 3),
    (["net-carbs", "ratio"], None, "best reachable 3:1", 3),
])
def test_the_header_names_its_ceiling(of: list[str], ceiling: float | None, said: str, ratio: int,
                                      tmp_path: Path) -> None:
    """100 g of meat hold 4 g of protein; x g of nuts, 40 at most, hold 0.6 x fat and 0.1 x net carbs.

    The ratio 0.6 x / (4 + 0.1 x) is 12/6 with 20 g of nuts, which hold 2 g of net carbs, and 24/8 with 40 g.
    """
    foods = table(tmp_path, food("meat", protein=4), food("nuts", fat=60, carbs=10))
    targets = {"ratio": 1} if ceiling is None else {"ratio": 1, "net_carbs": ceiling}
    entries = [{"food": "meat", "grams": 100}, {"food": "nuts", "grams": 10, "min": 5, "max": 40}]
    found = curve(recipe_from(dish(entries, targets=targets), foods), of)
    assert plain_text(curves_text(found)).splitlines()[0] == f"a dish  {said}"
    data = found.to_dict()
    assert data["best_ratio"] == ratio
    assert data["best_ratio_net_carbs_max"] == (ceiling if "ratio" in of else None)
