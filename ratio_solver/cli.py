"""The command line: one command is one call of the library; results go to stdout, all else to stderr."""

from __future__ import annotations

import atexit
import gc
import sys
from importlib import import_module
from types import MappingProxyType
from typing import Any

import click

from ratio_solver.output.options import spelt_out
from ratio_solver.output.streams import forget_stdout, write_any_character

NAMES = ("draft", "solve", "check", "add-fat", "swap", "curve", "adjust", "portions",
         "shopping", "card", "book", "recheck", "page", "menu", "prescription", "day", "foods", "cautions")
"""The commands; the module that has one is loaded when it is asked for."""

HOMES = MappingProxyType({"menu": "menu", "page": "page", "prescription": "day.prescription", "day": "day",
                          "shopping": "day.shopping"})
"""Commands that are no tools of one dish, to the packages that have them."""


class Commands(click.Group):
    """The commands by name; only the one that runs is loaded."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, in the order in which a cook meets them."""
        return list(NAMES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name, or None."""
        if cmd_name not in NAMES:
            return None
        room = HOMES.get(cmd_name) or f"tools.{cmd_name.replace('-', '_')}"
        command: click.Command = import_module(f"ratio_solver.{room}.command").command
        return command

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Arguments as click takes them."""
        return super().parse_args(ctx, spelt_out(args))

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run a command; where the system refuses something (a full disk) that is one line on stderr, exit 1.

        A command says itself what it was doing; what is left is the text of a help or a message.
        """
        write_any_character()
        try:
            return super().main(*args, **kwargs)
        except OSError as error:
            what = error.filename or "standard output or standard error"
            click.echo(f"{what}: cannot be used: {error.strerror or error}", err=True)
            forget_stdout()
            sys.exit(1)


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(package_name="ratio-solver", prog_name="ratio-solver")
def main() -> None:
    """Weights for a dish that keeps a ketogenic ratio under a net-carb ceiling.

    Exit codes: 0 solved, 1 bad input (nothing written but by menu, where some recipes cannot be read, and by foods,
    where none is found), 2 usage, 3 no weights satisfy the limits.
    """
    # A command makes many objects that stay and hardly any cycles: looking for those, and again when the
    # process ends, is a tenth of its time.
    gc.set_threshold(100_000, 50, 50)
    atexit.register(gc.freeze)


if __name__ == "__main__":
    main()
