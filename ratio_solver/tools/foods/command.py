"""The command that looks into the composition table: foods."""

from __future__ import annotations

from typing import Any

import click

from ratio_solver.foods.table import load_foods
from ratio_solver.output.options import BAD_INPUT, OUTPUT, TABLES, deliver_outcome, finish, with_options


class FoodsCommand(click.Command):
    """The command foods, of which `foods add` is another one with options of its own."""

    def make_context(self, info_name: str | None, args: list[str], parent: click.Context | None = None,
                     **extra: Any) -> click.Context:
        """The context of the one that is meant."""
        if args and args[0] == "add":
            from ratio_solver.tools.foods.add import add

            return add.make_context(f"{info_name} add", args[1:], parent, **extra)
        return super().make_context(info_name, args, parent, **extra)


@click.command("foods", cls=FoodsCommand)
@click.argument("words", nargs=-1, required=True)
@click.option("--most", type=click.IntRange(1), default=25, show_default=True, help="Foods listed at most.")
@with_options(TABLES, OUTPUT)
def command(words: tuple[str, ...], most: int, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """Search the composition table: `foods WORDS...`, or `foods show NAME`; `foods add NAME` takes one from a package.

    A food is listed when its name, another name of it, its id or its role holds all the words; the one that the words
    name is first. Exit code 1 where there is none.
    """
    from ratio_solver.tools.foods.compute import find_foods, one_food

    showing = words[0] == "show"
    name = " ".join(words[1:] if showing else words)
    if showing and not name.strip():
        raise click.UsageError("foods show: expected the NAME of a food")
    found = (one_food if showing else find_foods)(load_foods(*tables), name)
    deliver_outcome(found, form, output, most=most)
    if not found.foods:
        finish(BAD_INPUT)
