"""Spreads machines over the workers of a Dask cluster. The only module that knows Dask."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from diagnose.errors import DiagnoseError
from diagnose.log.batch import Job, MachineFindings, machine_findings

RETRIES = 3
"""Times a machine is begun again when its worker is lost or fails."""
AHEAD = 32
"""Machines sent ahead of those fetched, so that not the whole fleet lies in the scheduler."""
CONNECT_SECONDS = 5


@contextmanager
def cluster(
    address: str,
) -> Iterator[Callable[[Iterable[Job]], Iterator[MachineFindings]]]:
    """A function that runs machine_findings on the cluster and keeps the order of the jobs.

    Raises DiagnoseError when Dask is not installed or nobody answers at the address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise DiagnoseError("--cluster needs Dask; pip install distributed") from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0] if str(error) else "no answer"
        raise DiagnoseError(f"--cluster {address}: no scheduler there ({reason})") from None

    def spread(jobs: Iterable[Job]) -> Iterator[MachineFindings]:
        waiting = []
        for job in jobs:
            waiting.append(client.submit(machine_findings, job, retries=RETRIES, pure=False))
            if len(waiting) > AHEAD:
                yield waiting.pop(0).result()
        while waiting:
            yield waiting.pop(0).result()

    try:
        yield spread
    finally:
        client.close()
