"""The command line: one command is one call of the library; results go to stdout, all else to stderr."""

from __future__ import annotations

import gc

import click

from ratio_solver.commands.exploring import add_fat, curve, swap
from ratio_solver.commands.kitchen import adjust, card, portions, shopping
from ratio_solver.commands.menu import menu
from ratio_solver.commands.shared import WIDTH
from ratio_solver.commands.solving import check, solve
from ratio_solver.commands.table import foods


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": WIDTH})
@click.version_option(package_name="ratio-solver", prog_name="ratio-solver")
def main() -> None:
    """Weights for a dish that keeps a ketogenic ratio under a net-carb ceiling.

    Exit codes: 0 solved, 1 bad input (nothing written), 2 usage, 3 no weights satisfy the limits.
    """
    # A command makes many objects that stay and hardly any cycles: looking for those is a tenth of its time.
    gc.set_threshold(100_000, 50, 50)


for command in (solve, check, add_fat, swap, curve, adjust, portions, shopping, card, menu, foods):
    main.add_command(command)


if __name__ == "__main__":
    main()
