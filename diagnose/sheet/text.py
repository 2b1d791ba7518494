"""What a sheet says, for a person: what to set first, then all readings, then what has drifted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from textwrap import fill

from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine.adjustment import Adjustment, move_lines
from diagnose.machine.grading import GradeOrLimit
from diagnose.machine.units import shown
from diagnose.say import Said, Words, said
from diagnose.say.text import columns
from diagnose.sheet.assess import Cell, Findings, cause_of, leads_to
from diagnose.sheet.compare import Drift
from diagnose.sheet.model import Sheet
from diagnose.sheet.order import measuring_check, setup_for
from diagnose.sheet.slips import Slip

CELL = 8
MARGIN = 10
MARKS: dict[GradeOrLimit, str] = {
    "low": "<",
    "in": " ",
    "high": ">",
    "low_or_in": "~",
    "in_or_high": "~",
    "low_in_or_high": "~",
}


def report_lines(
    findings: Findings, drift: Iterable[str] = (), *, inches: bool = False
) -> Iterator[str]:
    """The whole report, line by line; `drift` is what an earlier sheet adds."""
    yield from _head(findings)
    if findings.asked:
        yield from ("", *_indent(said("sheet.asked_back"), ""))
        for slip in findings.asked:
            yield from _indent(slip_line(slip, findings.knowledge))
    if findings.to_set:
        yield from _safety(findings)
        yield from ("", *_indent(said("sheet.to_set"), ""))
        for number, cell in enumerate(findings.to_set, 1):
            mark = str(said("sheet.number", number=number))
            yield from _cell_lines(findings, cell, mark, inches=inches)
        again = "; ".join(findings.knowledge.settings[name].name for name in findings.again)
        yield from _indent(said("sheet.again", names=again), "")
    if findings.on_limit:
        yield from ("", *_indent(said("sheet.on_limit"), ""))
        for cell in findings.on_limit:
            yield from _cell_lines(findings, cell, "- ", inches=inches)
    yield from _uneven(findings, inches=inches)
    yield from drift
    yield from _table(findings, inches=inches)
    yield from _missing(findings)


def _head(findings: Findings) -> Iterator[str]:
    sheet, number = findings.sheet, findings.knotters
    known = said("sheet.knotters" if sheet.knotters else "sheet.names_knotters", number=number)
    parts: list[Words] = [sheet.machine or said("sheet.not_named"), known]
    parts += [said("sheet.measured_on", date=sheet.date)] if sheet.date else []
    if sheet.bales is not None:
        parts.append(said("sheet.counted", bales=f"{sheet.bales:,}".replace(",", " ")))
    yield from _indent(said("sheet.head", parts=", ".join(map(str, parts))), "")
    told = said(
        "sheet.sum",
        measured=sum(found is not None for found in findings.cells.values()),
        all=len(findings.cells),
        to_set=len(findings.to_set),
        on_limit=len(findings.on_limit),
        asked=len(findings.asked),
    )
    yield from _indent(told, "")


def slip_line(slip: Slip, knowledge: Knowledge) -> str:
    """The question about one doubted cell."""
    reading = slip.entry.reading
    told = said(
        "sheet.slip",
        place=slip.entry.place,
        where=place_name(knowledge.settings[reading.setting], reading.knotter),
        value=reading.value,
        unit=reading.unit,
        meant=slip.meant,
        why=slip.why,
    )
    return str(told)


def place_name(setting: Setting, knotter: int | None) -> Words:
    if not knotter:
        return setting.name
    return said("sheet.at_knotter", name=setting.name, knotter=knotter)


def _safety(findings: Findings) -> Iterator[str]:
    """The cautions of every place, check and mend that the work leads to, each once."""
    knowledge = findings.knowledge
    wanted: dict[str, None] = {}
    for cell in findings.to_set:
        check, found = measuring_check(knowledge, cell[0]), findings.cells[cell]
        cause = cause_of(knowledge, found) if found else None
        setup = knowledge.setups[setup_for(knowledge, cell[0])]
        wanted |= dict.fromkeys([*setup.cautions, *(check.cautions if check else [])])
        wanted |= dict.fromkeys(cause.cautions if cause else [])
    if wanted:
        yield from ("", *_indent(said("sheet.safe_first"), ""))
    for caution in wanted:
        yield from _indent(said("sheet.caution", first=knowledge.cautions[caution].first))


def _cell_lines(findings: Findings, cell: Cell, mark: str, *, inches: bool) -> Iterator[str]:
    found = findings.cells[cell]
    if found is None:
        return
    setting = found.setting
    head = said(
        "sheet.cell",
        where=place_name(setting, cell[1]),
        value=shown(found.value, setting.unit, inches=inches),
        grade=said(f"sheet.grade_{found.grade}"),
        tolerance=tolerance(setting, inches=inches),
    )
    yield from _indent(f"{mark}{head}", "", len(mark))
    for line in move_lines(found, inches=inches):
        yield from _indent(line, "   ")
    cause = cause_of(findings.knowledge, found)
    if cause:
        mechanisms = "; ".join(leads_to(findings.knowledge, cause)[:2])
        left = said("sheet.if_left", cause=cause.name, mechanisms=mechanisms)
        yield from _indent(left, "   ")
    if cause and found.wanted:
        yield from _indent(said("sheet.how", mend=cause.mend), "   ")
    if found.wanted and setting.moves:
        moved = "; ".join(findings.knowledge.settings[name].name for name in setting.moves)
        yield from _indent(said("sheet.moves", names=moved), "   ")


def tolerance(setting: Setting, *, inches: bool = False) -> Said:
    """Nominal, band, and the basis of each; an example is said to be one."""
    low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
    holes = {
        "nominal": shown(setting.nominal, setting.unit, inches=inches),
        "low": low.split()[0],
        "high": high,
        "basis": setting.basis,
    }
    if setting.band_basis == setting.basis:
        return said("sheet.example" if setting.example else "sheet.tolerance", **holes)
    return said(
        "sheet.example_band" if setting.example else "sheet.tolerance_band",
        **holes,
        band_basis=setting.band_basis,
    )


def _uneven(findings: Findings, *, inches: bool) -> Iterator[str]:
    rows = {name: even for name, even in findings.even.items() if even.odd}
    if rows:
        yield from ("", *_indent(said("sheet.uneven"), ""))
    for name, even in rows.items():
        setting = findings.knowledge.settings[name]
        spread, middle = (
            shown(value, setting.unit, inches=inches) for value in (even.spread, even.median)
        )
        odd = ", ".join(map(str, even.odd))
        told = said(
            "sheet.odd", name=setting.name, spread=spread, middle=middle, odd=odd, n=len(even.odd)
        )
        yield from _indent(told)


def _table(findings: Findings, *, inches: bool) -> Iterator[str]:
    yield from ("", *_indent(said("sheet.readings"), ""))
    wide = MARGIN + CELL * findings.knotters <= columns()
    if findings.knotters and wide:
        numbers = [f"{knotter}  " for knotter in range(1, findings.knotters + 1)]
        yield _row(numbers, str(said("sheet.knotter")))
    asked = {slip.entry.key for slip in findings.asked}
    for name in findings.settings:
        yield from _indent(_row_head(findings, name, inches), "")
        cells = {
            knotter: "?  " if (name, knotter) in asked else _mark(found, inches=inches)
            for knotter, found in findings.row(name).items()
        }
        if wide:
            yield _row(cells.values())
        else:
            yield from _narrow(cells)


def _row_head(findings: Findings, name: str, inches: bool) -> Said:
    setting, even = findings.settings[name], findings.even.get(name)
    low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
    holes = {
        "name": setting.name,
        "low": low.split()[0],
        "high": high,
        "basis": setting.band_basis.kind,
    }
    if even is None:
        return said("sheet.row_example" if setting.example else "sheet.row", **holes)
    return said(
        "sheet.row_example_spread" if setting.example else "sheet.row_spread",
        **holes,
        spread=shown(even.spread, setting.unit, inches=inches),
    )


def _row(cells: Iterable[str], head: str = "") -> str:
    """One line of cells, each ending in its mark, under the numbers of the knotters."""
    wide = [cell.rjust(CELL) for cell in cells]
    return (head.ljust(MARGIN) + "".join(wide)).rstrip()


def _narrow(cells: Mapping[int | None, str]) -> Iterable[str]:
    """Cells with the number of their knotter before each, as many in a line as there is room."""
    told = [f"{k}: {cell.strip()}" if k else cell.strip() for k, cell in cells.items()]
    many = max(1, (columns() - 2) // (CELL + 4))
    for i in range(0, len(told), many):
        yield "  " + "".join(cell.ljust(CELL + 4) for cell in told[i : i + many]).rstrip()


def _mark(found: Adjustment | None, *, inches: bool) -> str:
    if found is None:
        return "-  "
    value = shown(found.value, found.setting.unit, inches=inches).split()[0]
    return f"{value}{MARKS[found.grade]} "


def _missing(findings: Findings) -> Iterator[str]:
    parts: list[Words] = []
    for name, knotters in findings.not_measured.items():
        named = findings.knowledge.settings[name].name
        if len(knotters) == len(findings.row(name)):
            parts.append(named)
        else:
            at = ", ".join(map(str, knotters))
            parts.append(said("sheet.not_measured_at", name=named, knotters=at))
    if parts:
        yield ""
        yield from _indent(said("sheet.not_measured", names="; ".join(map(str, parts))), "")


def drift_lines(before: Sheet, drifts: list[Drift], *, inches: bool = False) -> Iterator[str]:
    """Drifted cells first, the soonest to leave its band at the top; then the rest in a line."""
    moved = [drift for drift in drifts if drift.drifted and not drift.set_between]
    moved.sort(key=lambda drift: drift.left or (float("inf"), 0.0))
    yield ""
    if before.date:
        title = said("sheet.drifted_since" if moved else "sheet.nothing_since", date=before.date)
    else:
        title = said("sheet.drifted" if moved else "sheet.nothing_drifted")
    yield from _indent(title, "")
    for drift in moved:
        yield from _indent(_drift(drift, inches=inches), "")
    for drift in drifts:
        if drift.set_between:
            yield from _indent(said("sheet.set_between", **_change(drift, inches=inches)), "")
    same = sum(not drift.drifted for drift in drifts)
    yield from _indent(said("sheet.same", number=same, all=len(drifts)), "")
    if any(drift.rate for drift in moved):
        yield from _indent(said("sheet.even_wear"), "")
    elif moved:
        yield from _indent(said("sheet.no_counter"), "")


def _drift(drift: Drift, *, inches: bool) -> Said:
    change, setting = _change(drift, inches=inches), drift.setting
    if drift.rate is None or drift.left is None:
        return said("sheet.drift", **change)
    change["rate"] = shown(drift.rate, setting.unit, inches=inches, places=2)
    change["limit"] = shown(drift.limit, setting.unit, inches=inches)
    about = drift.thousand_bales_left(drift.rate)
    if about == 0:
        return said("sheet.drift_left_example" if setting.example else "sheet.drift_left", **change)
    soon, late = drift.left
    return said(
        "sheet.drift_leaves_example" if setting.example else "sheet.drift_leaves",
        **change,
        about=_bales(about),
        soon=_bales(soon),
        late=_bales(late),
    )


def _change(drift: Drift, *, inches: bool) -> dict[str, Words]:
    before, after = (
        shown(value, drift.setting.unit, inches=inches) for value in (drift.before, drift.after)
    )
    where = place_name(drift.setting, drift.knotter)
    return {"where": where, "before": before.split()[0], "after": after}


def _bales(thousands: float) -> str:
    """Two figures are all that such a forecast carries."""
    return f"{float(f'{thousands * 1000:.2g}'):,.0f}".replace(",", " ")


def _indent(text: Words, indent: str = "  ", hanging: int = 2) -> Iterable[str]:
    return fill(
        str(text), columns(), initial_indent=indent, subsequent_indent=indent + " " * hanging
    ).splitlines()
