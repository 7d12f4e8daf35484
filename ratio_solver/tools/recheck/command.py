"""The command recheck."""

from __future__ import annotations

import click

from ratio_solver.output.options import BAD_INPUT, OUTPUT, TABLES, deliver_outcome, finish, with_options


@click.command("recheck")
@with_options((
    click.argument("record", type=click.Path(readable=False)),
), TABLES, OUTPUT)
def command(record: str, tables: tuple[str, ...], form: str, output: str | None) -> None:
    """Reckon again what `card --record` and `book` have recorded (RECORD, JSON).

    Tells which published figures no longer hold, by how much, and which food moved them; nothing where all hold. Exit
    code 3 where one does not.
    """
    from ratio_solver.tools.recheck.compute import recheck

    found = recheck(record, tables)
    for fault in found.unreadable:
        click.echo(str(fault), err=True)
    deliver_outcome(found, form, output)
    if found.unreadable:
        finish(BAD_INPUT)
