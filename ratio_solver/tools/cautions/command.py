"""The command that says what is to be known before a figure is trusted: cautions."""

from __future__ import annotations

import click

from ratio_solver.dish.cautions import STRONG_CAUTION, WHOLE
from ratio_solver.output.json_csv import as_json
from ratio_solver.output.options import OUTPUT, deliver, with_options

FORMAT = click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True,
                      help="Form of the result.")


@click.command("cautions")
@with_options((FORMAT, *OUTPUT[1:]))
def command(form: str, output: str | None) -> None:
    """Who may not eat so, and who only with a physician: the whole of what other commands say in short."""
    if form == "json":
        deliver(as_json({"cautions": list(WHOLE), "at_3_to_1_and_above": STRONG_CAUTION}), output)
    else:
        from ratio_solver.output.blocks import STRONG, Text

        deliver((*(Text(f"{caution}\n") for caution in WHOLE), Text(STRONG_CAUTION, STRONG)), output)
