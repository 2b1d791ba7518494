"""The casebook itself: add copies of cases, and read how each case stands.

Works on a SQLite file or on a PostgreSQL database, with the same code. When `add` has
returned, the case is on disk.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Literal

from sqlalchemy import Connection, select

from diagnose.case import Case
from diagnose.casebook import database, schema
from diagnose.casebook.line import canonical, digest, from_line, to_line
from diagnose.casebook.migrate import bring_up_to_date
from diagnose.casebook.place import default_path
from diagnose.casebook.versions import Copy, Entry, continues, entry
from diagnose.errors import InputError

Items = dict[str, str]
"""Rule base item by item: `kind:id` -> JSON."""
Chances = Mapping[str, tuple[float, int]]
"""Case id -> chance and rank of its confirmed cause."""
News = Literal["new", "known", "continued", "earlier", "conflict"]


@dataclass(frozen=True)
class Added:
    """What adding a case came to."""

    id: str
    news: News


class Casebook:
    """An open casebook. Use it in a `with` statement."""

    def __init__(self, where: str | Path | None = None) -> None:
        """Open, create or bring up to date; `where` is a path or a `postgresql://` address.

        Raises StoreError when it cannot be opened or is newer than the program.
        """
        self.where = where or default_path()
        self.unread: dict[str, str] = {}
        """Rows that do not validate: digest -> which case's it is and what is wrong. They are kept
        as they are, and everything else works."""
        self._engine = database.connect(self.where)
        try:
            bring_up_to_date(self._engine, self.where)
        except BaseException:
            self._engine.dispose()
            raise

    def __enter__(self) -> Casebook:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file or the server."""
        self._engine.dispose()

    def add(self, *cases: Case) -> list[Added]:
        """Add copies of cases, all or none; on disk when this returns.

        A copy already here changes nothing. Raises StoreError.
        """
        rows = [_row(case) for case in cases]
        with database.writing(self._engine, self.where) as connection:
            known = self._copies(connection, {case.id for case in cases})
            added, fresh = [], {}
            for case, row in zip(cases, rows, strict=True):
                mine = known[case.id]
                if row["digest"] not in mine:
                    fresh[row["digest"]] = row
                added.append(Added(case.id, _news(case, row["content"], mine.values())))
                mine[row["digest"]] = Copy(case, row["content"])
            if fresh:
                connection.execute(schema.copies.insert(), list(fresh.values()))
        return added

    def set_aside(self, *contents: str) -> None:
        """Let copies, named by their content, stand no more. They are kept."""
        with database.writing(self._engine, self.where) as connection:
            done = set(connection.execute(select(schema.set_aside.c.content)).scalars())
            table = schema.copies.c
            wanted = select(table.content, table.case_id).where(table.content.in_(contents))
            ids = {row.content: row.case_id for row in connection.execute(wanted)}
            rows = [
                {"content": one, "case_id": ids.get(one, ""), "at": _now()}
                for one in dict.fromkeys(contents)
                if one not in done
            ]
            if rows:
                connection.execute(schema.set_aside.insert(), rows)

    def copies(self) -> tuple[tuple[Copy, ...], frozenset[str]]:
        """Everything ever received, and the contents that were set aside."""
        with database.reading(self._engine, self.where) as connection:
            known = self._copies(connection, None)
            aside = connection.execute(select(schema.set_aside.c.content)).scalars()
            return tuple(c for mine in known.values() for c in mine.values()), frozenset(aside)

    def entries(self) -> list[Entry]:
        """Every case as it stands, oldest first."""
        copies, aside = self.copies()
        by_case: dict[str, list[Copy]] = defaultdict(list)
        for copy in copies:
            by_case[copy.case.id].append(copy)
        standing = (entry(mine, aside) for mine in by_case.values())
        return sorted((e for e in standing if e), key=lambda e: (_when(e.case), e.id))

    def confirmed(self) -> list[tuple[Case, str]]:
        """The cases that count, oldest first: cause confirmed, and no conflict about it."""
        return [(e.case, e.confirmed) for e in self.entries() if e.confirmed is not None]

    def find(self, start: str) -> Entry:
        """The one case whose id begins like this. Raises InputError when none or several do."""
        found = [e for e in self.entries() if e.id.startswith(start)]
        exact = [e for e in found if e.id == start]
        if len(exact or found) != 1:
            several = f"{len(found)} cases begin with '{start}', type more of it"
            none = f"no case begins with '{start}'; 'diagnose cases list' shows them"
            raise InputError(several if found else none)
        return (exact or found)[0]

    def _copies(self, connection: Connection, ids: set[str] | None) -> dict[str, dict[str, Copy]]:
        """Copies by case and digest; of these cases, or of all."""
        table = schema.copies.c
        wanted = select(table.case_id, table.digest, table.content, table.line)
        if ids is not None and len(ids) < 500:  # more than that and reading all is quicker
            wanted = wanted.where(table.case_id.in_(ids))
        known: dict[str, dict[str, Copy]] = defaultdict(dict)
        for case_id, key, content, line in connection.execute(wanted):
            try:
                known[case_id][key] = Copy(from_line(line), content)
            except InputError as error:
                self.unread[key] = f"{case_id}: {error.what}"
        return known

    def save_replay(self, digest: str, items: Items, chances: Chances) -> None:
        """Keep what a replay found with the rule base of this digest, in place of an older one."""
        with database.writing(self._engine, self.where) as connection:
            for table in (schema.rule_bases, schema.replays):
                connection.execute(table.delete().where(table.c.digest == digest))
            connection.execute(
                schema.rule_bases.insert().values(digest=digest, rules=canonical(items))
            )
            connection.execute(
                schema.replays.insert().values(digest=digest, at=_now(), chances=canonical(chances))
            )

    def last_replay(self, other_than: str) -> tuple[str, Items, Chances] | None:
        """When the latest replay with other rules was, its rules, and what it found."""
        runs, bases = schema.replays.c, schema.rule_bases.c
        wanted = (
            select(runs.at, bases.rules, runs.chances)
            .where(runs.digest == bases.digest, runs.digest != other_than)
            .order_by(runs.at.desc())
            .limit(1)
        )
        with database.reading(self._engine, self.where) as connection:
            row = connection.execute(wanted).first()
        if row is None:
            return None
        chances = {k: (float(c), int(rank)) for k, (c, rank) in json.loads(row.chances).items()}
        return row.at, json.loads(row.rules), chances


def record(case: Case, casebook: Casebook) -> Added:
    """Put a session's case into the casebook; the end of every session calls this."""
    return casebook.add(case)[0]


def _news(case: Case, content: str, known: Iterable[Copy]) -> News:
    others = list(known)
    if not others:
        return "new"
    if any(copy.content == content for copy in others):
        return "known"
    if any(continues(copy.case, case) for copy in others):
        return "earlier"
    standing = entry(others)
    every = standing is not None and all(continues(case, c.case) for c in standing.copies)
    return "continued" if every else "conflict"


def _row(case: Case) -> dict[str, str]:
    copy = Copy.of(case)
    return {
        "digest": digest(case),
        "content": copy.content,
        "case_id": case.id,
        "added": _now(),
        "line": to_line(case),
    }


def _when(case: Case) -> str:
    return case.opened.isoformat() if case.opened else ""


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
