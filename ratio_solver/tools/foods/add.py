"""The command that takes a food from its package into a table of one's own: foods add."""

from __future__ import annotations

import csv
import io
import textwrap
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.nutrients import REQUIRED
from ratio_solver.foods.package import COLUMN, SAID, Package, row_of
from ratio_solver.foods.rows import foods_in
from ratio_solver.foods.substances import BY_KEY
from ratio_solver.output.files import File, write_files
from ratio_solver.output.json_csv import harmless
from ratio_solver.output.options import with_options
from ratio_solver.output.streams import WIDTH

HELP = {"energy": "Energy, kcal.", "carbs": "Carbohydrate: US with fibre, EU without.", "sodium": "Sodium, mg.",
        "salt": "Salt, g; becomes sodium (/ 2.5).", "imo": f"{BY_KEY['imo'].name.capitalize()}, g."}
LABEL_FIGURES = tuple(click.option(f"--{name}", metavar="FIGURE", help=HELP.get(name, f"{name.capitalize()}, g."))
                for name in COLUMN)

ABOUT = tuple(click.option(f"--{name}", default="", metavar="DATE" if name == "packed" else "TEXT", help=text)
              for name, text in zip(SAID, (
                  "Who makes it.", "The date on the package.", "Anything else about where the figures are from.",
                  "As on the label, ; between; none where it says so.", "fat, dairy, flour, sweetener, ...",
                  "Household measures, tbsp=15; cup=240.", "Price per kg."), strict=True))


@click.command("add")
@click.argument("name")
@click.option("--label", type=click.Choice(["us", "eu"]), required=True, help="Whose rules the label follows.")
@click.option("--per", metavar="GRAMS", required=True, help="Grams that the figures are for: 100, or a serving.")
@click.option("--to", "table", type=click.Path(dir_okay=False), required=True, help="The table (CSV) to add it to.")
@with_options(ABOUT)
@click.option("--replace", is_flag=True, help="In the place of a row of this name, if there is one.")
@with_options(LABEL_FIGURES)
def add(name: str, label: str, per: str, table: str, replace: bool, **given: str | None) -> None:
    """A food from its package: `foods add NAME --label eu --per 100 --fat 15 --carbs 6 --protein 6 --to own.csv`.

    Figures as printed: 15, 0, "< 0.5", "less than 1". The row has their values in 100 g and the interval that the
    label's rounding leaves. Figures that contradict one another are refused.
    """
    figures = {key: text for key, text in given.items() if key in COLUMN and text is not None}
    said = {key: str(harmless(given[key])) for key in SAID}
    cells = row_of(Package(str(harmless(name)), label, _grams(per), figures, said))
    write_files([File(table, with_row(table, cells, replace), "--to")])
    zeros = [key for key in ("carbs", "protein") if float(cells[COLUMN[key]]) > float(cells[f"{COLUMN[key]}_low"]) == 0]
    click.echo(f"{cells['food']} in {table}, in 100 g:")
    for key in ("fat", "protein", "carbs", "fibre"):
        if key in figures:
            column = COLUMN[key]
            click.echo(f"  {column} {cells[column]} ({cells[f'{column}_low']} to {cells[f'{column}_high']})")
    if zeros:
        count = "counts" if len(zeros) == 1 else "count"
        click.echo(textwrap.fill(f"Rounded to nothing is not nothing: {' and '.join(zeros)} {count} the most that this "
                                 "label allows.", WIDTH))


def _grams(text: str) -> Fraction:
    try:
        return Fraction(text.strip().lower().removesuffix("g").strip().replace(",", "."))
    except (ValueError, ZeroDivisionError) as error:
        raise BadInput([Fault("--per", "", shown(text), "expected grams, 100 or 30")]) from error


def with_row(path: str | Path, cells: dict[str, str], replace: bool = False) -> str:
    """The text of a table with one more row; of one that is not there yet with this row alone.

    Raises
    ------
    BadInput
        Where the table cannot be read, has faults of its own, or has a food of this name and `replace` is not said.
    """
    if not Path(path).exists():
        return _table_text([*dict.fromkeys([*REQUIRED, *cells])], [cells], comma=False)
    file = read_csv(path)
    _, faults = foods_in(file)
    if faults:
        raise BadInput(faults)
    rows = [row for _, row in file.rows]
    own = {cells["food"].lower(), cells["id"].lower()}
    same = [row for row in rows if own & {row["food"].lower(), row["id"].lower()}]
    if same and not replace:
        there = "is there already; say --replace to put this in its place"
        raise BadInput([Fault(str(path), same[0]["food"], "", there)])
    kept = [row for row in rows if row not in same]
    written = {key: text.replace(".", ",") if file.decimal_comma and _is_number(text) else text
               for key, text in cells.items()}
    return _table_text([*dict.fromkeys([*file.header, *cells])], [*kept, written], comma=file.decimal_comma)


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdigit()


def _table_text(header: list[str], rows: list[dict[str, str]], *, comma: bool) -> str:
    text = io.StringIO()
    writer: Any = csv.DictWriter(text, [name for name in header if name], restval="", lineterminator="\n",
                                 delimiter=";" if comma else ",", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
