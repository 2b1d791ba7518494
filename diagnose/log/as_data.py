"""Everything a batch found as plain data for JSON, and as tables for CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from pathlib import Path
from typing import Any

from diagnose.errors import InputError, Place
from diagnose.files import write_whole
from diagnose.knowledge.model import Knowledge
from diagnose.log.as_text import not_read, unmapped_words
from diagnose.log.batch import Batch, CodeRate, MachineFindings, WorkItem
from diagnose.log.rates import Rate
from diagnose.log.wording import what_is_logged
from diagnose.session import Suspect

FORMAT = 1


def batch_data(batch: Batch, base: Knowledge) -> dict[str, Any]:
    """The whole batch; field names are stable within one FORMAT."""
    tally = batch.tally
    return {
        "format": FORMAT,
        "rules": base.version,
        "files": list(batch.files),
        "exit_code": batch.exit_code,
        "not_read": list(not_read(batch)),
        "not_judged": list(batch.not_judged),
        "work": [_item(item, base) for item in batch.work],
        "mended": [_item(item, base) for item in batch.mended],
        "machines": [_machine(found) for found in batch.machines],
        "patterns_reasoned": batch.patterns,
        "lines": {
            "read": tally.read,
            "used": tally.used,
            "ignored": dict(sorted(tally.ignored.items())),
            "rejected": tally.rejected,
        },
        "rejects": [asdict(reject) for reject in tally.rejects],
        "unmapped": [
            {"code": code, "count": entry.count, "means": unmapped_words(code),
             "bytes": entry.raw.hex(), "note": entry.note}
            for code, entry in sorted(tally.unmapped.items())
        ],
        "notes": list(tally.notes),
    }  # fmt: skip


def _item(item: WorkItem, base: Knowledge) -> dict[str, Any]:
    trouble, run, log = item.trouble, item.trouble.course, item.log
    return {
        "machine": trouble.machine,
        "knotters": list(trouble.which.knotters),
        "codes": dict(trouble.codes),
        "p": trouble.p,
        "which": {
            "answer": trouble.which.answer,
            "p_even": trouble.which.p_even,
            "p_knotters": list(trouble.which.p_hot),
        },
        "course": run
        and {
            "since": list(run.since),
            "often": list(run.often),
            "p_change": run.p_change,
            "began_bale": log.bale_count(run.began),
            "began": _iso(log.when(run.began)),
            "ended_bale": None if run.ended is None else log.bale_count(run.ended),
            "before": _rate(run.before),
            "now": _rate(run.now),
        },
        "ties_a_day": trouble.ties_a_day,
        "mechanism": {"id": item.reasoned.mechanism, "chance": item.reasoned.mechanism_chance},
        "suspects": [_suspect(suspect) for suspect in item.reasoned.suspects],
        "next_check": item.reasoned.check and asdict(item.reasoned.check),
        "ask": item.reasoned.ask,
        "seen": what_is_logged(item, base),
    }


def _iso(when: Any) -> str | None:
    return when.isoformat(timespec="seconds") if when else None


def _suspect(suspect: Suspect) -> dict[str, Any]:
    return {
        "id": suspect.id,
        "standing": suspect.standing,
        "chance": suspect.chance,
        "mechanism": suspect.mechanism,
        "because": [reason.what for reason in suspect.because],
        "against": [reason.what for reason in suspect.against],
    }


def _rate(rate: Rate) -> dict[str, Any]:
    return {"events": rate.events, "trials": rate.trials, "share": rate.share,
            "low": rate.low, "high": rate.high}  # fmt: skip


def _machine(found: MachineFindings) -> dict[str, Any]:
    log = found.log
    return {
        "machine": log.name,
        "knotters": log.knotters,
        "bales": log.bales,
        "days": log.days,
        "events": log.events,
        "troubles": len(found.troubles),
        "rates": [
            {"code": r.code, "knotter": r.knotter or None, **_rate(r.rate)} for r in found.rates
        ],
        "notes": list(log.notes),
    }


def write_tables(folder: Path, batch: Batch) -> None:
    """work.csv, rates.csv and unmapped.csv into a folder. Raises InputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(folder / "work.csv", [_work_row(rank, item) for rank, item in _ranked(batch)])
        _write(folder / "rates.csv", [_rate_row(f, r) for f in batch.machines for r in f.rates])
        _write(
            folder / "unmapped.csv",
            [
                {"code": code, "count": entry.count, "means": unmapped_words(code),
                 "bytes": entry.raw.hex(), "note": entry.note}
                for code, entry in sorted(batch.tally.unmapped.items())
            ],
        )  # fmt: skip
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", Place(folder)) from None


def _ranked(batch: Batch) -> list[tuple[int, WorkItem]]:
    return [*enumerate(batch.work, 1), *((0, item) for item in batch.mended)]


def _work_row(rank: int, item: WorkItem) -> dict[str, Any]:
    trouble, run, log, reasoned = item.trouble, item.trouble.course, item.log, item.reasoned
    first, check = reasoned.suspects[0], reasoned.check
    return {
        "rank": rank or "over",
        "machine": trouble.machine,
        "knotters": " ".join(map(str, trouble.which.knotters)),
        "suspect": first.id,
        "standing": first.standing,
        "chance": round(first.chance, 4),
        "mechanism": reasoned.mechanism,
        "because": "; ".join(reason.what for reason in first.because[:3]),
        "next_check": check.id if check else "",
        "minutes": check.minutes if check else "",
        "way_minutes": check.way if check else "",
        "setup": check.setup if check else "",
        "ties_at_risk_a_day": round(trouble.ties_a_day, 2),
        "bad_bales": run.now.events if run else sum(n for _, n in trouble.codes),
        "bales": run.now.trials if run else "",
        "rate": run.now.share if run else "",
        "rate_low": run.now.low if run else "",
        "rate_high": run.now.high if run else "",
        "which": trouble.which.answer or "",
        "since": " ".join(run.since) if run else "",
        "often": " ".join(run.often) if run else "",
        "began_bale": log.bale_count(run.began) if run else "",
        "began": _iso(log.when(run.began)) if run else "",
        "codes": " ".join(code for code, _ in trouble.codes),
    }


def _rate_row(found: MachineFindings, rate: CodeRate) -> dict[str, Any]:
    return {
        "machine": found.log.name,
        "code": rate.code,
        "knotter": rate.knotter or "",
        **_rate(rate.rate),
    }


def _write(path: Path, rows: list[dict[str, Any]]) -> None:
    text = io.StringIO(newline="")
    if rows:
        writer = csv.DictWriter(text, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    write_whole(path, text.getvalue())
