"""Days in CSV: a row for each dish or food of a meal, and who has it (day, meal, dish, person)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from ratio_solver.errors import BadInput, Fault, collected, shown
from ratio_solver.foods.csv_file import CsvFile, number, read_csv
from ratio_solver.foods.table import suggestion

NEEDED_COLUMNS = ("day", "meal", "dish")
NUMBER_COLUMNS = ("portion", "min", "max", "step", "batches")
WEEK_COLUMNS = (*NEEDED_COLUMNS, "person", "food", *NUMBER_COLUMNS, "as_written")
YES, NO = ("yes", "true", "1"), ("no", "false", "0", "")


def week_table(path: str | Path) -> tuple[dict[str, Any], dict[str, int]]:
    """The nested tables of a day file that the rows come to, and the line of each place in them.

    Raises
    ------
    BadInput
        With every row that cannot be read.
    """
    file, faults = read_csv(path), list[Fault]()
    for column in NEEDED_COLUMNS:
        if column not in file.header:
            faults.append(Fault(file.source, "line 1", "", f"expected a column {column}"))
    for column in file.header:
        if column and column not in WEEK_COLUMNS:
            hint = suggestion(column, WEEK_COLUMNS) or f"; known here: {', '.join(WEEK_COLUMNS)}"
            faults.append(Fault(file.source, f"line 1, {column}", "", f"is not a column of days{hint}"))
    collected(faults)
    found = _WeekRows(file, faults)
    collected(faults)
    return found.table, found.lines


class _WeekRows:
    """Gathers rows into days, meals, and the dishes and foods of each."""

    def __init__(self, file: CsvFile, faults: list[Fault]) -> None:
        self.file, self.faults = file, faults
        self.days: dict[str, dict[str, dict[tuple[str, str], dict[str, Any]]]] = {}
        self.first: dict[tuple[str, str, str, str], int] = {}
        for line, row in file.rows:
            self._row(line, row)
        self.lines: dict[str, int] = {}
        self.table = self._nested()

    def _row(self, line: int, row: Mapping[str, str]) -> None:
        for column in ("day", "meal"):
            if not row[column]:
                self._fault(line, column, None, f"expected the name of the {column}")
        dish, food = row["dish"], row.get("food", "")
        if bool(dish) == bool(food):
            self._fault(line, "dish", None, "expected the path of a recipe file, or in the column food a food beside")
            return
        key = ("dishes", dish) if dish else ("beside", food)
        entries = self.days.setdefault(row["day"], {}).setdefault(row["meal"], {})
        self.first.setdefault((row["day"], row["meal"], *key), line)
        entry = entries.setdefault(key, {"people": []})
        people = [name.strip() for name in row.get("person", "").split(";") if name.strip()]
        entry["people"] = None if not people or entry["people"] is None else [*entry["people"], *people]
        for column in NUMBER_COLUMNS:
            self._number(line, column, row.get(column, ""), entry, bool(dish))
        written = row.get("as_written", "").lower()
        if written not in (*YES, *NO):
            self._fault(line, "as_written", written, "expected yes or no")
        elif written in YES:
            entry["as_written"] = True

    def _number(self, line: int, column: str, text: str, entry: dict[str, Any], dish: bool) -> None:
        if not text:
            return
        value = number(text, self.file.decimal_comma)
        key = "grams" if column == "portion" and not dish else column
        if value is None:
            self._fault(line, column, text, "expected a number")
        elif entry.setdefault(key, value) != value:
            self._fault(line, column, text, "expected the same wherever this stands at the meal")
        elif key == "batches" and value == int(value):
            entry[key] = int(value)

    def _fault(self, line: int, column: str, got: str | None, expected: str) -> None:
        found = "" if got is None else shown(got)
        self.faults.append(Fault(self.file.source, f"line {line}, {column}", found, expected))

    def _nested(self) -> dict[str, Any]:
        days: list[dict[str, Any]] = []
        for day, meals in self.days.items():
            made: list[dict[str, Any]] = []
            for meal, entries in meals.items():
                at = f"days[{len(days) + 1}].meals[{len(made) + 1}]"
                one: dict[str, Any] = {"name": meal, "dishes": [], "beside": []}
                for (kind, name), entry in entries.items():
                    shown_to = {} if entry["people"] is None else {"people": entry["people"]}
                    rest = {key: value for key, value in entry.items() if key != "people"}
                    one[kind].append({"file" if kind == "dishes" else "food": name, **rest, **shown_to})
                    line = self.first[day, meal, kind, name]
                    self.lines[f"{at}.{kind}[{len(one[kind])}]"] = line
                    self.lines.setdefault(at, line)
                made.append(one)
            days.append({"title": day, "meals": made})
        return {"title": Path(self.file.source).stem, "days": days}


def at_lines(bad: BadInput, source: str, lines: Mapping[str, int]) -> BadInput:
    """The faults with the lines of the CSV file in place of the places in its nested tables."""
    def placed(fault: Fault) -> Fault:
        place = fault.place
        while place and place not in lines:
            place = place.rpartition(".")[0]
        if fault.source != source or not place:
            return fault
        key = fault.place.removeprefix(place).lstrip(".")
        column = {"file": "dish", "people": "person", "grams": "portion"}.get(key, key)
        return replace(fault, place=f"line {lines[place]}{', ' if column else ''}{column}")

    return BadInput(map(placed, bad.faults))
