"""One step: a question, a check, something to set right, a proof, or whom to call."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import Field

from diagnose.case import Case, Reading
from diagnose.knowledge.model import Knowledge
from diagnose.machine.adjustment import Adjustment, adjustment, move_lines
from diagnose.machine.profile import MachineFile
from diagnose.machine.units import shown
from diagnose.say import Block, Choices, Heading, Labelled, Para, Part, Said, Words, said
from diagnose.say.text import minutes_text
from diagnose.session import Step
from diagnose.session.proof import by_luck
from diagnose.views.caution import CautionPart, caution_blocks, caution_parts
from diagnose.views.setting import SettingPart, setting_blocks, setting_part, share


class ResultPart(Part):
    """What a check can come to: a cause, or nothing wrong."""

    cause: str | None = None
    name: str | None = None


class ItemPart(Part):
    """A setting to measure or a check to do again."""

    id: str
    name: str


class ProvesPart(Part):
    """A cause that a proof is of."""

    cause: str
    name: str
    knotter: int | None = None


class ReadPart(Part):
    """A reading that is out, and the way back, in the lines of the adjuster."""

    knotter: int | None = None
    value: float
    unit: str
    how: tuple[str, ...]


class StepView(Part):
    """A step with all that is told of it. Minutes are expected, shares of one."""

    id: str
    kind: str
    basis: str
    minutes: float | None = None
    way: float | None = None
    expected: float | None = None
    saves: float | None = None
    finds: float | None = None
    rate: float | None = None
    ask: str | None = None
    look: str | None = None
    answers: dict[str, str] | None = None
    do: str | None = None
    tool: str | None = None
    people: int | None = None
    confirms: tuple[str, ...] | None = None
    results: tuple[ResultPart, ...] | None = None
    name: str | None = None
    why: str | None = None
    mend: str | None = None
    knotter: int | None = None
    opening: bool | None = None
    again: bool | None = None
    counts: bool | None = None
    before: str | None = None
    setup: str | None = None
    place: str | None = None
    stand: str | None = None
    tolerance: SettingPart | None = None
    read: tuple[ReadPart, ...] | None = None
    cautions: tuple[CautionPart, ...] = ()
    measure_again: tuple[str, ...] | None = None
    go_through: tuple[ItemPart, ...] | None = None
    trial: str | None = None
    trials: int | None = None
    bales: int | None = None
    a_bale: int | None = None
    by_luck: float | None = None
    proves: tuple[ProvesPart, ...] | None = None
    number: int = Field(1, exclude=True)
    told: frozenset[str] = Field(frozenset(), exclude=True)
    """Cautions already said in full."""
    inches: bool = Field(False, exclude=True)
    read_said: tuple[Said, ...] = Field((), exclude=True)

    def blocks(self) -> Iterator[Block]:
        match self.kind:
            case "ask":
                yield from self._question()
            case "check":
                yield from self._check()
            case "mend":
                yield from self._mend()
            case "prove":
                yield from self._proof()

    def _head(self) -> Iterator[Block]:
        where: Words = self.place or ""
        if self.knotter:
            where = said("bale.at_knotter", place=self.place, knotter=self.knotter)
        asked = self.kind == "ask"
        minutes = minutes_text(self.minutes or 0.0)
        head = said("bale.question" if asked else "bale.check", number=self.number, minutes=minutes)
        if self.way:
            head = said(
                "bale.question_away" if asked else "bale.check_away",
                number=self.number,
                minutes=minutes,
                way=minutes_text(self.way),
            )
        yield Heading(head, where)

    def _question(self) -> Iterator[Block]:
        yield from self._head()
        yield Para(self.ask or "")
        yield Para(self.look or "", 2)
        yield from caution_blocks(self.cautions, self.told)
        yield Choices(tuple((self.answers or {}).values()))
        yield Labelled(said("bale.why_now"), self.why_now())

    def _check(self) -> Iterator[Block]:
        yield from self._head()
        yield Para(self.do or "")
        yield Labelled(said("bale.with"), self.tool or "")
        if (self.people or 1) > 1:
            yield Labelled(said("bale.needs"), said("bale.people", people=self.people))
        if self.way:
            yield Labelled(said("bale.stand"), self.stand or "")
        if self.tolerance:
            yield from setting_blocks(self.tolerance, self.inches)
        yield from caution_blocks(self.cautions, self.told)
        yield Choices(tuple(result_said(result) for result in self.results or ()))
        yield Labelled(said("bale.why_now"), self.why_now())

    def why_now(self) -> Words:
        """One sentence: what the step was chosen for."""
        if self.opening:
            return said("bale.asked_first")
        if self.counts:
            return said("bale.counts_on_it")
        if self.before:
            return said("bale.would_destroy")
        if not self.expected:
            return ""
        left = minutes_text(self.expected)
        if self.again:
            return said("bale.again", left=left)
        if self.kind == "ask" and self.saves is not None:
            return said("bale.saves", saves=minutes_text(self.saves), left=left)
        if self.finds is not None:
            return said("bale.finds", share=share(self.finds), left=left)
        return said("bale.left", left=left)

    def _mend(self) -> Iterator[Block]:
        at = [str(read.knotter) for read in self.read or () if read.knotter]
        where = ", ".join(at) or str(self.knotter or "")
        cause = (
            said("bale.cause_at", name=self.name, knotters=where, why=self.why)
            if where
            else said("bale.cause", name=self.name, why=self.why)
        )
        yield Labelled(said("bale.found"), cause)
        yield Labelled(said("bale.set_it"), self.mend or "")
        if self.tolerance:
            yield from setting_blocks(self.tolerance, self.inches)
        for words in self.read_said:
            yield Labelled(said("bale.read"), words)
        yield from caution_blocks(self.cautions, self.told)
        if self.go_through:
            names = "; ".join(item.name for item in self.go_through)
            yield Labelled(said("bale.go_through"), said("bale.list", names=names))
        yield Para(said("bale.one_change_then" if self.go_through else "bale.one_change"), 2)

    def _proof(self) -> Iterator[Block]:
        proves, bales = self.proves or (), self.bales or 0
        if len(proves) > 1:
            names = "; ".join(str(cause_said(p.name, p.knotter)) for p in proves)
            yield Labelled(said("bale.set_right"), said("bale.proof_of_all", names=names))
        rate = self.rate or 0.5
        yield Labelled(
            said("bale.proof"),
            said(
                "bale.proof_takes",
                bales=said("count.clean_bale", n=bales),
                share=share(rate),
                basis=self.basis,
                luck=luck(by_luck(rate, bales * (self.a_bale or 1))),
            ),
        )
        yield from caution_blocks(self.cautions, self.told)
        yield Para(self._what_counts(), 2)
        yield Para(said("bale.count_on_at" if len(proves) > 1 else "bale.count_on"), 2)

    def _what_counts(self) -> Said:
        """What is one trial of this fault."""
        match self.trial:
            case "cycle":
                return said("bale.counts_cycle")
            case "strand":
                return said("bale.counts_strand")
        if (self.a_bale or 1) > 1:
            return said("bale.counts_each_of", n=self.a_bale)
        return said("bale.counts_each")

    def prompt(self) -> Iterator[Block]:
        """What can be typed once something is set right."""
        setting = self.tolerance
        if setting is None:
            yield Para(said("bale.mended"), 2)
            return
        typed = said(
            "bale.mended_example" if setting.example else "bale.mended_figure",
            nominal=setting.nominal,
            unit=setting.unit,
        )
        yield Para(typed, 2)


def result_said(result: ResultPart) -> Words:
    return said("bale.nothing_wrong") if result.cause is None else result.name or ""


def cause_said(name: str, knotter: int | None) -> Words:
    """`hook worn at knotter 2`; the cause alone where no knotter is named."""
    return said("bale.cause_there", name=name, knotter=knotter) if knotter else name


def luck(value: float) -> Said:
    """`5 of 100`; what is rarer is called so."""
    return said("bale.luck", share=value * 100) if value >= 0.01 else said("bale.luck_rarer")


def step_view(
    base: Knowledge,
    step: Step,
    case: Case | None = None,
    machine: MachineFile | None = None,
    *,
    number: int = 1,
    told: Iterable[str] = (),
    inches: bool = False,
) -> StepView:
    """A step as it is told; with a `case`, what was read in it and is out, with the way back."""
    fields: dict[str, Any] = {
        name: round(value, 4)
        for name in ("minutes", "way", "expected", "saves", "finds", "rate")
        if (value := getattr(step, name)) is not None
    }
    setup = base.setups.get(step.setup or "")
    fields |= {
        "place": setup.name if setup else None,
        "stand": setup.how if setup else None,
        "setup": step.setup,
        "knotter": step.knotter,
        "before": step.before,
        "opening": step.opening or None,
        "counts": step.counts or None,
        "again": step.again or None,
        "tolerance": setting_part(base, step.setting) if step.setting else None,
    }
    match step.kind:
        case "ask":
            sign = base.signs[step.id]
            fields |= {"ask": sign.ask, "look": sign.look, "answers": dict(sign.answers)}
        case "check":
            check = base.checks[step.id]
            fields |= {"do": check.do, "tool": check.tool, "people": check.people}
            fields |= {"confirms": tuple(check.confirms), "results": results(base, step.id)}
        case "mend":
            cause = base.causes[step.id]
            fields |= {"name": cause.name, "why": cause.why, "mend": cause.mend}
            wrong = wrong_readings(base, case, step, machine) if case and step.setting else {}
            fields["read"] = tuple(_read(k, move, inches) for k, move in wrong.items()) or None
            fields["read_said"] = tuple(read_said(k, m, inches) for k, m in wrong.items())
        case "prove":
            fields |= _proof_fields(base, step)
    return StepView(
        id=step.id,
        kind=step.kind,
        basis=step.basis,
        cautions=caution_parts(base, step.cautions),
        measure_again=step.measure_again or None,
        go_through=tuple(
            ItemPart(id=item, name=item_name(base, item)) for item in step.measure_again
        )
        or None,
        number=number,
        told=frozenset(told),
        inches=inches,
        **fields,
    )


def _proof_fields(base: Knowledge, step: Step) -> dict[str, Any]:
    trials, rate = step.trials or 0, step.rate or 0.5
    return {
        "trial": base.causes[step.id].trial,
        "trials": trials,
        "bales": step.bales,
        "a_bale": step.a_bale,
        "by_luck": round(by_luck(rate, trials), 4),
        "proves": tuple(
            ProvesPart(cause=p.cause, name=base.causes[p.cause].name, knotter=p.knotter)
            for p in step.proofs
        ),
    }


def results(base: Knowledge, check: str) -> tuple[ResultPart, ...]:
    """What can be chosen: nothing wrong, or one of the causes it confirms."""
    found = (ResultPart(cause=c, name=base.causes[c].name) for c in base.checks[check].confirms)
    return (ResultPart(cause=None, name=None), *found)


def item_name(base: Knowledge, item: str) -> str:
    """A setting's or a check's name, as a list names it."""
    return base.settings[item].name if item in base.settings else base.checks[item].do.rstrip(".")


def wrong_readings(
    base: Knowledge, case: Case, step: Step | str, machine: MachineFile | None
) -> dict[int | None, Adjustment]:
    """The last reading at each knotter that is out of its band, with the way back into it."""
    setting = step if isinstance(step, str) else step.setting or ""
    at = None if isinstance(step, str) else step.knotter
    readings = {
        event.knotter: event
        for event in case.events
        if isinstance(event, Reading) and event.setting == setting
    }
    moves = {k: adjustment(base.settings[setting], r, machine) for k, r in readings.items()}
    return {k: move for k, move in moves.items() if move.wanted and (not at or k in (None, at))}


def _read(knotter: int | None, move: Adjustment, inches: bool) -> ReadPart:
    how = tuple(move_lines(move, inches=inches))
    return ReadPart(knotter=knotter, value=move.value, unit=move.setting.unit, how=how)


def read_said(knotter: int | None, move: Adjustment, inches: bool) -> Said:
    """What was read, and how to bring it back."""
    value = shown(move.value, move.setting.unit, inches=inches)
    how = " ".join(move_lines(move, inches=inches))
    if knotter:
        return said("bale.reading_at", knotter=knotter, value=value, how=how)
    return said("bale.reading", value=value, how=how)
