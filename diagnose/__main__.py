"""`python -m diagnose` is the command `diagnose`."""

from diagnose.cli.main import run

run()
