"""A PostgreSQL server of our own, from Debian's programs."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path


class Server:
    """A PostgreSQL server of our own that can be crashed and started again."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self._programs, self.folder = programs, folder
        self._user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._user:
            shutil.chown(folder, "postgres")
        self.run("initdb", "-A", "trust", "-U", "postgres", "-E", "UTF8")
        self.start()

    def run(self, program: str, *options: str) -> None:
        command = [*self._user, str(self._programs / program), "-D", str(self.folder / "data")]
        log = (self.folder.parent / f"{self.folder.name}.log").open("ab")
        with log:
            subprocess.run(
                [*command, *options], check=True, stdout=log, stderr=log, cwd=self.folder
            )

    def start(self) -> None:
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder}"
        self.run("pg_ctl", "-w", "-o", options, "-l", str(self.folder / "log"), "start")

    def stop(self, mode: str = "fast") -> None:
        """`immediate` ends every server process at once, as a crash would."""
        self.run("pg_ctl", "-w", "-m", mode, "stop")

    def url(self, database: str) -> str:
        return f"postgresql://postgres@/{database}?host={self.folder}"


def programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).resolve().parent if on_path else None
