"""`diagnose log`: a season of fault codes, a fleet at a time."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diagnose.errors import InputError, Place

if TYPE_CHECKING:
    from diagnose.log.batch import Batch
    from diagnose.log.read import Wanted
    from diagnose.log.source import Progress
    from diagnose.session import Reasoner

FILE = click.Path(path_type=Path)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("files", nargs=-1, required=True)
@click.option("--codes", "codes_path", type=FILE, help="Your code table (YAML).")
@click.option(
    "--knotters",
    type=click.IntRange(1, 12),
    default=6,
    show_default=True,
    help="Knotters of machines the code table does not name.",
)
@click.option("--machine", help="Machine of files that name none, such as bus logs.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="OURS=THEIRS",
    help="What a file calls one of: time, machine, bale, knotter, code, value.",
)
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@click.option(
    "--csv", "csv_folder", type=FILE, help="Write work.csv, rates.csv, unmapped.csv here."
)
@click.option(
    "--html", "html_path", type=FILE, help="Write one self-contained page, with pictures."
)
@click.option("--rejects", "rejects_path", type=FILE, help="Write the rejected lines here (CSV).")
@click.option("--numbers", is_flag=True, help="Show chances beside the words.")
@click.option("--rules", "rules_path", type=FILE, help="Folder of an edited rule base.")
@click.option(
    "--cluster", "address", metavar="ADDRESS", help="Spread machines over a Dask cluster."
)
def log(
    files: tuple[str, ...],
    codes_path: Path | None,
    knotters: int,
    machine: str | None,
    columns: tuple[str, ...],
    as_json: bool,
    csv_folder: Path | None,
    html_path: Path | None,
    rejects_path: Path | None,
    numbers: bool,
    rules_path: Path | None,
    address: str | None,
) -> int:
    """Diagnose logged fault codes: what is wrong, where, since when, what to check next.

    FILES are CSV, JSON lines or Parquet with time, machine, bale (count), knotter, code
    and value, or raw bus logs (candump, ASC, BLF, TRC); gzip and zstd are read as they
    are, and patterns like 'logs/*.csv.gz' are looked up. Exit code: 0 nothing wrong,
    1 work found, 2 nothing could be read, 3 read, but some lines were rejected.
    """  # fmt: skip
    from diagnose.knowledge import chosen_rules
    from diagnose.log.codes import CodeTable, read_code_table
    from diagnose.log.read import Wanted
    from diagnose.log.tally import write_rejects
    from diagnose.session import Reasoner

    base = chosen_rules(rules_path)
    table = read_code_table(codes_path, base) if codes_path else CodeTable.of(base)
    wanted = Wanted(table, knotters, machine, _columns(columns))
    batch = _run(files, wanted, Reasoner(base), address)
    if rejects_path:
        write_rejects(rejects_path, batch.tally.rejects)
    if csv_folder or as_json:
        from diagnose.log.as_data import write_tables
        from diagnose.log.view import log_view
        from diagnose.say import data

        if csv_folder:
            write_tables(csv_folder, batch)
        if as_json:
            click.echo(json.dumps(data(log_view(batch, base)), indent=1, ensure_ascii=False))
    if html_path:
        from diagnose.log.as_html import write_page

        write_page(html_path, batch, base)
    if not as_json:
        from diagnose.log.as_text import report

        for line in report(batch, base, numbers=numbers):
            click.echo(line)
    return batch.exit_code


def _columns(pairs: tuple[str, ...]) -> dict[str, str]:
    from diagnose.log.rows import COLUMNS

    columns = {}
    for pair in pairs:
        ours, equals, theirs = pair.partition("=")
        if not equals or not theirs or ours not in COLUMNS:
            raise click.UsageError(
                f"--column {pair}: write OURS=THEIRS, OURS one of {', '.join(COLUMNS)}"
            )
        columns[ours] = theirs
    return columns


def _run(files: tuple[str, ...], wanted: Wanted, reasoner: Reasoner, address: str | None) -> Batch:
    from diagnose.log.batch import run_batch
    from diagnose.log.source import expand

    paths = expand(files)
    spread: Any = nullcontext()
    if address:
        from diagnose.log.cluster import cluster

        spread = cluster(address)
    try:
        with spread as run_over, _progress(paths) as progress:
            return run_batch(paths, wanted, reasoner, run_over, progress)
    except MemoryError:
        raise InputError(
            "does not fit in memory; give fewer files at once, split by machine", Place(files[0])
        ) from None


@contextmanager
def _progress(paths: list[Path]) -> Iterator[Progress | None]:
    """How much of the files has been read, on a terminal only."""
    if not sys.stderr.isatty():
        yield None
        return
    total = sum(path.stat().st_size for path in paths)
    bar: Any = click.progressbar(length=total, label="reading", file=sys.stderr)
    with bar:
        yield bar.update
