"""The record of a bad bale for the customer's file: as text, or as one page to print."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from diagnose.case import (
    AnyEvent,
    Case,
    Checked,
    Counted,
    Failed,
    Logged,
    Mended,
    Noted,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.knowledge.model import Knowledge
from diagnose.say import (
    Block,
    Caution,
    Gap,
    Items,
    Labelled,
    Para,
    Rows,
    Title,
    View,
    Words,
    said,
)  # fmt: skip
from diagnose.session import Diagnosis
from diagnose.session.proof import bales_needed, trials_a_bale
from diagnose.session.review import Told
from diagnose.views.caution import CautionPart, caution_parts
from diagnose.views.diagnosis import DiagnosisView, diagnosis_view
from diagnose.views.setting import setting_part, tolerance
from diagnose.views.step import cause_said
from diagnose.views.suspects import SuspectPart

SUSPECTS = 5


class RecordView(View):
    """What happened in a case, in the order it is printed."""

    case: Case
    diagnosis: DiagnosisView
    rules_name: str
    suspects: tuple[SuspectPart, ...]
    cautions: tuple[CautionPart, ...]
    outcome: Words = Field(exclude=True)
    seen: tuple[tuple[Words, ...], ...] = Field(exclude=True)
    checked: tuple[tuple[Words, ...], ...] = Field(exclude=True)
    was_set: tuple[tuple[Words, ...], ...] = Field(exclude=True)

    @property
    def title(self) -> Words:
        name = self.case.machine.name
        return said("bale.record", machine=name) if name else said("bale.record_baler")

    def blocks(self) -> Iterator[Block]:
        yield from self.happened()
        yield from (Gap(), Title(said("bale.part_suspects")))
        for suspect in self.suspects:
            name = said("bale.stands", name=suspect.name, standing=suspect.standing)
            yield Items((name,))
            because, against = (
                "; ".join(reason.what for reason in reasons[:3])
                for reasons in (suspect.because, suspect.against)
            )
            if because:
                yield Labelled(said("bale.record_because"), because)
            if against:
                yield Labelled(said("bale.record_against"), against)
        yield from (Gap(), Para(self._words()))
        yield from (Gap(), Title(said("bale.part_cautions")))
        for caution in self.cautions:
            yield Caution(said("bale.caution", danger=caution.danger, first=caution.first))
        yield from (Gap(), Para(self._basis()))

    def happened(self, whole: bool = True) -> Iterator[Block]:
        """What happened: outcome, what was seen, checked and set, remarks."""
        if whole:
            yield Title(self.title, whole=True)
        yield Para(self.outcome)
        yield from (Gap(), Rows(tuple(self._head())))
        for title, rows in self._parts():
            if rows:
                yield from (Gap(), Title(title))
                yield Items(tuple(" | ".join(str(c) for c in row if str(c)) for row in rows))

    def page(self) -> Iterator[Block]:
        """As a page: rows instead of lists."""
        yield Para(self.outcome)
        yield Rows(tuple(self._head()))
        for title, rows in self._parts():
            if rows:
                yield from (Title(title), Rows(rows))
        yield Title(said("bale.part_suspects"))
        yield Rows(
            tuple(
                (
                    suspect.name,
                    suspect.standing,
                    "; ".join(reason.what for reason in suspect.because[:3]),
                    "; ".join(reason.what for reason in suspect.against[:3]),
                )
                for suspect in self.suspects
            ),
            (
                said("bale.col_cause"),
                said("bale.col_standing"),
                said("bale.col_because"),
                said("bale.col_against"),
            ),
        )
        yield Para(self._words())
        yield Title(said("bale.part_cautions"))
        for caution in self.cautions:
            yield Caution(said("bale.caution", danger=caution.danger, first=caution.first))
        yield Para(self._basis())

    def _parts(self) -> Iterator[tuple[Words, tuple[tuple[Words, ...], ...]]]:
        noted = tuple(
            (one.right.name, one.name or "")
            for one in self.diagnosis.doubtful_readings
            if one.cause
        )
        remarks = tuple((e.text,) for e in self.case.events if isinstance(e, Noted))
        yield said("bale.part_seen"), self.seen
        yield said("bale.part_checked"), self.checked
        yield said("bale.part_noted"), noted
        yield said("bale.part_set"), self.was_set
        yield said("bale.part_remarks"), remarks

    def _head(self) -> Iterator[tuple[Words, Words]]:
        case, machine = self.case, self.case.machine
        yield said("bale.head_case"), case.id
        if machine.type or machine.knotters:
            told = said("bale.knotters", n=machine.knotters) if machine.knotters else ""
            parts = [machine.name, machine.type, str(told)]
            yield said("bale.head_machine"), ", ".join(filter(None, parts))
        if case.opened:
            yield said("bale.head_begun"), said("bale.opened", opened=case.opened)
        if case.technician:
            yield said("bale.head_by"), case.technician
        if case.customer:
            yield said("bale.head_for"), case.customer
        taken = sum(event.minutes or 0 for event in case.events)
        if taken >= 1:
            yield said("bale.head_taken"), said("bale.taken", minutes=taken)
        if case.rules and case.rules != self.diagnosis.rules.split(" with ")[0]:
            yield said("bale.head_rules"), case.rules

    def _words(self) -> Words:
        words = (
            said("bale.word", word=w, text=text) for w, text in self.diagnosis.standings.items()
        )
        return said("bale.record_words", words="; ".join(map(str, words)))

    def _basis(self) -> Words:
        return said(
            "bale.basis",
            name=self.rules_name,
            version=self.diagnosis.rules,
            rests=self.diagnosis.rests_on(),
        )


def record_view(base: Knowledge, diagnosis: Diagnosis) -> RecordView:
    """The record of a case as it stands."""
    case, view = diagnosis.case, diagnosis_view(base, diagnosis)
    start = base.setups[base.start_setup].cautions
    named = [suspect for suspect in view.suspects if not suspect.rest][:SUSPECTS]
    return RecordView(
        case=case,
        diagnosis=view,
        rules_name=base.base.name,
        suspects=(*named, *(suspect for suspect in view.suspects if suspect.rest)),
        cautions=caution_parts(base, dict.fromkeys((*start, *diagnosis.step.cautions))),
        outcome=_outcome(base, diagnosis, view),
        seen=tuple(_seen(base, case)),
        checked=tuple(_checked(base, case)),
        was_set=tuple(_mended(base, case)),
    )


def _outcome(base: Knowledge, diagnosis: Diagnosis, view: DiagnosisView) -> Words:
    step = diagnosis.step
    match step.kind:
        case "cured":
            return said("bale.outcome_cured", proved=view.proved_said())
        case "mend":
            return said("bale.outcome_found", name=base.causes[step.id].name)
        case "prove":
            return said("bale.outcome_set", name=base.causes[step.id].name, n=step.bales)
    first = next(suspect for suspect in view.suspects if not suspect.rest)
    return said("bale.outcome_open", name=first.name, standing=first.standing)


def _where(event: AnyEvent) -> Words:
    knotter = getattr(event, "knotter", None)
    return said("bale.knotter", knotter=knotter) if knotter else ""


def _seen(base: Knowledge, case: Case) -> Iterator[tuple[Words, ...]]:
    for event in case.events:
        match event:
            case Seen():
                answers = base.signs[event.sign].answers
                text = " or ".join(answers[a] for a in event.answers)
                yield base.signs[event.sign].ask, text, _where(event)
            case NotKnown():
                yield base.signs[event.sign].ask, said("bale.not_known"), _where(event)
            case Logged():
                yield said("bale.logged"), base.codes[event.code].says, _where(event)


def _checked(base: Knowledge, case: Case) -> Iterator[tuple[Words, ...]]:
    for event in case.events:
        match event:
            case Reading():
                part = setting_part(base, event.setting)
                read = said(
                    "bale.measured_example" if part.example else "bale.measured",
                    value=event.value,
                    unit=event.unit,
                    right=tolerance(part),
                )
                yield part.name, read, _where(event)
            case Checked():
                found: Words = (
                    base.causes[event.found].name if event.found else said("bale.nothing_found")
                )
                yield base.checks[event.check].do, found, _where(event)
            case NotNow():
                name = event.step
                text = base.checks[name].do if name in base.checks else base.signs[name].ask
                yield text, said("bale.not_possible"), _where(event)


def _mended(base: Knowledge, case: Case) -> Iterator[tuple[Words, ...]]:
    for event in case.events:
        match event:
            case Mended():
                did = said("bale.was_set_too" if event.aside else "bale.was_set")
                yield did, _cause(base, event.cause, event.knotter), _change(event)
            case Proved() | Counted():
                a_bale = trials_a_bale(base.causes[event.cause], case.machine.knotters)
                bales = said("count.clean_bale", n=bales_needed(event.clean_ties, a_bale))
                failed = isinstance(event, Proved) and event.failed
                result = said("bale.failed_after" if failed else "bale.no_failure", bales=bales)
                yield said("bale.was_proved"), _cause(base, event.cause, event.knotter), result
            case Failed():
                yield said("bale.failed_too"), said("bale.tie_at", knotter=event.knotter), ""


def _cause(base: Knowledge, cause: str, knotter: int | None) -> Words:
    return cause_said(base.causes[cause].name, knotter)


def _change(event: Mended) -> Words:
    if event.after is None:
        return ""
    if event.before is None:
        return said("bale.changed_to", after=event.after, unit=event.unit)
    return said("bale.changed", before=event.before, after=event.after, unit=event.unit)


def told_said(base: Knowledge, answer: Told) -> Words:
    """One answer given: what was asked, and what was said."""
    step = answer.step
    asked = base.signs[step].ask if step in base.signs else base.checks[step].do
    answers = "; ".join(str(_told(base, event)) for event in answer.events)
    return said("bale.told", asked=asked, answers=answers)


def _told(base: Knowledge, event: AnyEvent) -> Words:
    knotter, answer = getattr(event, "knotter", None), _answer(base, event)
    return said("bale.told_at", knotter=knotter, answer=answer) if knotter else answer


def _answer(base: Knowledge, event: AnyEvent) -> Words:
    match event:
        case Seen():
            return " or ".join(base.signs[event.sign].answers[a] for a in event.answers)
        case NotKnown():
            return said("bale.dont_know")
        case NotNow():
            return said("bale.not_now")
        case Reading():
            return f"{event.value:g} {event.unit}"
        case Checked(found=str(found)):
            return base.causes[found].name
    return said("bale.nothing_found")
