"""What a sheet says, for a person: what to set first, then all readings. 80 columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from textwrap import fill

from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine.adjustment import Adjustment, move_lines
from diagnose.machine.grading import GradeOrLimit
from diagnose.machine.tolerance import called
from diagnose.machine.units import shown
from diagnose.say.text import columns
from diagnose.sheet.assess import Cell, Findings, cause_of, leads_to
from diagnose.sheet.order import measuring_check, setup_for
from diagnose.sheet.slips import Slip

CELL = 8
MARGIN = 10
GRADE_WORDS: dict[GradeOrLimit, str] = {
    "low": "low",
    "in": "in tolerance",
    "high": "high",
    "low_or_in": "on its lower limit",
    "in_or_high": "on its upper limit",
    "low_in_or_high": "not settled, the gauge is coarser than the band",
}
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
        yield from ("", *_indent("Asked back (left out until it is settled)", ""))
        for slip in findings.asked:
            yield from _indent(slip_line(slip, findings.knowledge))
    if findings.to_set:
        yield from _safety(findings)
        yield from ("", *_indent("To set, in this order, one change at a time", ""))
        for number, cell in enumerate(findings.to_set, 1):
            yield from _cell_lines(findings, cell, f"{number}. ", inches=inches)
        again = "; ".join(findings.knowledge.settings[name].name for name in findings.again)
        yield from _indent(f"When all is set, measure again: {again}.", "")
    if findings.on_limit:
        yield from ("", "On the limit of its tolerance")
        for cell in findings.on_limit:
            yield from _cell_lines(findings, cell, "- ", inches=inches)
    yield from _uneven(findings, inches=inches)
    yield from drift
    yield from _table(findings, inches=inches)
    yield from _missing(findings)


def _head(findings: Findings) -> Iterator[str]:
    sheet = findings.sheet
    known = "" if sheet.knotters else "the sheet names "
    parts = [sheet.machine or "Machine not named", f"{known}{findings.knotters} knotters"]
    parts += [f"measured {sheet.date}"] if sheet.date else []
    parts += [f"{sheet.bales:,} bales".replace(",", " ")] if sheet.bales is not None else []
    yield from _indent(", ".join(parts), "")
    measured = sum(found is not None for found in findings.cells.values())
    yield from _indent(
        f"{measured} of {len(findings.cells)} measured: {len(findings.to_set)} to set, "
        f"{len(findings.on_limit)} on the limit, {len(findings.asked)} asked back.",
        "",
    )


def slip_line(slip: Slip, knowledge: Knowledge) -> str:
    """The question about one doubted cell."""
    reading = slip.entry.reading
    where = place_name(knowledge.settings[reading.setting], reading.knotter)
    given = f"{reading.value:g}"
    return (
        f"{slip.entry.place}: {where}: {given} {reading.unit}. Is {slip.meant:g} {reading.unit} "
        f"meant ({slip.why})? Mend the sheet, or write {given}! if it is so."
    )


def place_name(setting: Setting, knotter: int | None) -> str:
    return f"{setting.name}, knotter {knotter}" if knotter else setting.name


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
        yield from (
            "",
            *_indent("First make it safe. The machine's own manual goes before this sheet.", ""),
        )
    for caution in wanted:
        yield from _indent(f"- {knowledge.cautions[caution].first}")


def _cell_lines(findings: Findings, cell: Cell, mark: str, *, inches: bool) -> Iterator[str]:
    found = findings.cells[cell]
    if found is None:
        return
    setting = found.setting
    value = shown(found.value, setting.unit, inches=inches)
    head = f"{place_name(setting, cell[1])}: {value}, {GRADE_WORDS[found.grade]}"
    yield from _indent(f"{mark}{head} ({tolerance(setting, inches=inches)})", "", len(mark))
    for line in move_lines(found, inches=inches):
        yield from _indent(line, "   ")
    cause = cause_of(findings.knowledge, found)
    if cause:
        mechanisms = "; ".join(leads_to(findings.knowledge, cause)[:2])
        yield from _indent(f"If left: {cause.name} -> {mechanisms}.", "   ")
    if cause and found.wanted:
        yield from _indent(f"How: {cause.mend}", "   ")
    if found.wanted and setting.moves:
        moved = "; ".join(findings.knowledge.settings[name].name for name in setting.moves)
        yield from _indent(f"It moves: {moved}.", "   ")


def tolerance(setting: Setting, *, inches: bool = False) -> str:
    """Nominal, band, and the basis of each; an example is said to be one."""
    low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
    nominal = shown(setting.nominal, setting.unit, inches=inches)
    basis = str(setting.basis)
    band = "" if setting.band_basis == setting.basis else f"; band {setting.band_basis}"
    return called(setting, f"{nominal}, {low.split()[0]} to {high}; {basis}{band}")


def _uneven(findings: Findings, *, inches: bool) -> Iterator[str]:
    rows = {name: even for name, even in findings.even.items() if even.odd}
    if rows:
        yield from (
            "",
            *_indent("Uneven across the shaft (modified z-score, Iglewicz and Hoaglin 1993)", ""),
        )
    for name, even in rows.items():
        setting = findings.knowledge.settings[name]
        spread, middle = (
            shown(value, setting.unit, inches=inches) for value in (even.spread, even.median)
        )
        odd = ", ".join(map(str, even.odd))
        one = "is the odd one" if len(even.odd) == 1 else "stand out"
        yield from _indent(f"{setting.name}: spread {spread} about {middle}; knotter {odd} {one}.")


def _table(findings: Findings, *, inches: bool) -> Iterator[str]:
    yield from (
        "",
        *_indent("All readings (< low, > high, ~ on the limit, ? asked back, - not measured)", ""),
    )
    wide = MARGIN + CELL * findings.knotters <= columns()
    if findings.knotters and wide:
        yield _row([f"{knotter}  " for knotter in range(1, findings.knotters + 1)], "knotter")
    asked = {slip.entry.key for slip in findings.asked}
    for name, setting in findings.settings.items():
        even = findings.even.get(name)
        spread = f", spread {shown(even.spread, setting.unit, inches=inches)}" if even else ""
        low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
        band = called(setting, f"{low.split()[0]} to {high} ({setting.band_basis.kind})")
        yield from _indent(f"{setting.name}: {band}{spread}", "")
        cells = {
            knotter: "?  " if (name, knotter) in asked else _mark(found, inches=inches)
            for knotter, found in findings.row(name).items()
        }
        if wide:
            yield _row(cells.values())
        else:
            yield from _narrow(cells)


def _row(cells: Iterable[str], head: str = "") -> str:
    """One line of cells, each ending in its mark, under the numbers of the knotters."""
    wide = [cell.rjust(CELL) for cell in cells]
    return (head.ljust(MARGIN) + "".join(wide)).rstrip()


def _narrow(cells: Mapping[int | None, str]) -> Iterable[str]:
    """Cells with the number of their knotter before each, as many in a line as there is room."""
    told = [f"{knotter}: {cell.strip()}" if knotter else cell.strip() for knotter, cell in
            cells.items()]  # fmt: skip
    many = max(1, (columns() - 2) // (CELL + 4))
    for i in range(0, len(told), many):
        yield "  " + "".join(cell.ljust(CELL + 4) for cell in told[i : i + many]).rstrip()


def _mark(found: Adjustment | None, *, inches: bool) -> str:
    if found is None:
        return "-  "
    return (
        shown(found.value, found.setting.unit, inches=inches).split()[0] + MARKS[found.grade] + " "
    )


def _missing(findings: Findings) -> Iterator[str]:
    parts = []
    for name, knotters in findings.not_measured.items():
        all_of_it = len(knotters) == len(findings.row(name))
        where = "" if all_of_it else f" (knotter {', '.join(map(str, knotters))})"
        parts.append(findings.knowledge.settings[name].name + where)
    if parts:
        yield ""
        yield from _indent(f"Not measured: {'; '.join(parts)}.", "")


def _indent(text: str, indent: str = "  ", hanging: int = 2) -> Iterable[str]:
    return fill(
        text, columns(), initial_indent=indent, subsequent_indent=indent + " " * hanging
    ).splitlines()
