"""The command `diagnose` and how every command ends: exit codes, Ctrl-C, a closed pipe."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import sys
import textwrap
from importlib import import_module

import click

from diagnose import __version__
from diagnose.errors import DiagnoseError
from diagnose.say.text import WIDTH, columns, in_columns

COMMANDS = {
    "bale": ("diagnose.cli.bale:bale", "From a bad bale to the one part or setting that is wrong."),
    "sheet": ("diagnose.cli.sheet:sheet", "Grade a measuring sheet; what to set, how far to turn."),
    "twine": ("diagnose.cli.twine:twine", "Will the knot hold, and how much twine for the job?"),
    "log": ("diagnose.cli.log:log", "Diagnose logged fault codes, a season or a fleet at a time."),
    "train": ("diagnose.cli.train:train", "Practise on bad bales before the season does."),
    "cases": ("diagnose.cli.cases:cases", "The casebook: keep, share, learn from, replay."),
    "rules": ("diagnose.cli.rules:rules", "Read, check and extend the rule base."),
    "schema": ("diagnose.cli.schema:schema", "What each --json prints, as a JSON Schema."),
}


class LazyGroup(click.Group):
    """Loads a command's module only when it is called, so that help comes at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(import_module(module), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="diagnose %(version)s")
def cli() -> None:
    """Finds what is wrong when a large square baler ties badly.

    Stop the engine, wait until everything has stopped and keep the key with you
    before you go near the knotters. The machine's own manual goes before anything
    printed here.
    """


def _hung(line: str) -> list[str]:
    return textwrap.wrap(line, columns(), subsequent_indent="  ", break_on_hyphens=False) or [""]


def _for_reader(message: str) -> str:
    """On a terminal, lines that fit; for another program, as it is."""
    if not sys.stderr.isatty():
        return message
    with in_columns(shutil.get_terminal_size((WIDTH, 0)).columns):
        return "\n".join(line for told in message.splitlines() for line in _hung(told))


def run() -> None:
    """Run the command line and leave with the right exit code, never with a traceback."""
    # The memory goes with the process: looking through all of it for cycles first would be felt.
    atexit.register(gc.freeze)
    try:
        with in_columns(shutil.get_terminal_size((WIDTH, 0)).columns):
            code = cli.main(standalone_mode=False)
    except DiagnoseError as error:
        click.echo(_for_reader(f"diagnose: {error}"), err=True)
        code = error.exit_code
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (click.exceptions.Abort, EOFError, KeyboardInterrupt):
        click.echo("\nStopped. Everything answered so far is saved.", err=True)
        code = 130
    except BrokenPipeError:
        # The reader has gone, which is normal; Python would complain once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    sys.exit(code if isinstance(code, int) else 0)
