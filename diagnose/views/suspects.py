"""Suspects with reasons, and whether several knotters look alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pydantic import Field

from diagnose.knowledge.model import Knowledge
from diagnose.say import Block, Labelled, Para, Part, Said, Title, Words, said
from diagnose.session import Diagnosis, Suspect
from diagnose.session.diagnosis import Reason, standing

NAMED = 3
"""So many suspects are named after each answer, something else besides."""
REASONS = 3


class ReasonPart(Part):
    """What speaks for or against a cause."""

    rule: str
    what: str
    why: str
    decibans: float
    own: bool


class SuspectPart(Part):
    """A cause and how it stands."""

    id: str
    name: str
    standing: str
    chance: float
    mechanism: str
    mechanism_name: str
    only_one_known: bool
    because: tuple[ReasonPart, ...]
    against: tuple[ReasonPart, ...]
    rest: bool = Field(False, exclude=True)
    """What nobody wrote down."""


class TiePart(Part):
    """One of several failing knotters."""

    knotter: int
    known: dict[str, tuple[str, ...]]
    set_right: str | None = None
    set_right_name: str | None = None
    suspects: tuple[SuspectPart, ...]


class StandingView(Part):
    """Who is suspect now."""

    suspects: tuple[SuspectPart, ...]
    one_cause: float | None = None
    one_cause_standing: str | None = None
    knotters: tuple[TiePart, ...] | None = None
    numbers: bool = Field(False, exclude=True)

    def blocks(self) -> Iterator[Block]:
        """The first suspects in a few lines, by knotter where several fail."""
        if not self.knotters:
            yield Labelled(said("bale.now"), self._first(self.suspects))
            return
        yield Para(self.structure())
        for tie in self.knotters:
            text: Words = (
                said("bale.set_right_there", name=tie.set_right_name)
                if tie.set_right
                else self._first(tie.suspects)
            )
            yield Labelled(said("bale.at", knotter=tie.knotter), text)

    def _first(self, suspects: Iterable[SuspectPart]) -> Said:
        suspects = list(suspects)
        first = [s for s in suspects if not s.rest][:NAMED] + [s for s in suspects if s.rest]
        named = "; ".join(str(stands(suspect, self.numbers)) for suspect in first)
        return said("bale.all_stand", suspects=named)

    def structure(self) -> Said:
        """Whether one fault is behind the failing knotters."""
        ties = self.knotters or ()
        *first, last = [str(tie.knotter) for tie in ties]
        names = said("bale.and", first=", ".join(first), last=last)
        if (self.one_cause or 0.0) >= 0.5:
            return said("bale.one_fault", knotters=names, standing=self.one_cause_standing)
        return said("bale.two_faults" if len(ties) == 2 else "bale.several_faults", knotters=names)

    def why(self) -> Iterator[Block]:
        """The suspects with reasons."""
        if not self.knotters:
            for suspect in self.suspects[:NAMED]:
                yield from suspect_blocks(suspect, self.numbers)
            return
        yield Para(self.structure())
        for tie in self.knotters:
            if not tie.set_right:
                yield Title(said("bale.at_title", knotter=tie.knotter))
                for suspect in tie.suspects[:NAMED]:
                    yield from suspect_blocks(suspect, self.numbers)


def stands(suspect: SuspectPart, numbers: bool = False) -> Said:
    """`hook or jaw worn: likely`, with its chance where numbers are wanted."""
    if not numbers:
        return said("bale.stands", name=suspect.name, standing=suspect.standing)
    return said(
        "bale.stands_number",
        name=suspect.name,
        standing=suspect.standing,
        chance=suspect.chance,
    )


def suspect_blocks(suspect: SuspectPart, numbers: bool = False) -> Iterator[Block]:
    """One suspect: standing, because, against."""
    yield Para(stands(suspect, numbers))
    yield Labelled(said("bale.would_mean"), suspect.mechanism_name)
    if suspect.only_one_known:
        yield Labelled(said("bale.note"), said("bale.only_one"))
    for reason in suspect.because[:REASONS]:
        yield Labelled(said("bale.because"), _reason(reason, against=False))
    for reason in suspect.against[:REASONS]:
        yield Labelled(said("bale.against"), _reason(reason, against=True))
    if not suspect.because and not suspect.against:
        yield Labelled(said("bale.open"), said("bale.nothing_yet"))


def _reason(reason: ReasonPart, *, against: bool) -> Said:
    rule: Words = said("bale.own_rule", rule=reason.rule) if reason.own else reason.rule
    if not reason.why:
        return said("bale.reason", what=reason.what, rule=rule)
    return said(
        "bale.reason_against" if against else "bale.reason_why",
        what=reason.what,
        why=reason.why,
        rule=rule,
    )


def standing_view(base: Knowledge, diagnosis: Diagnosis, numbers: bool = False) -> StandingView:
    """Who is suspect in a case."""
    one_cause = diagnosis.reasoned.one_cause
    return StandingView(
        suspects=tuple(suspect_part(base, suspect) for suspect in diagnosis.suspects),
        one_cause=None if one_cause is None else round(one_cause, 6),
        one_cause_standing=None if one_cause is None else standing(base, one_cause),
        knotters=tuple(_ties(base, diagnosis)) or None,
        numbers=numbers,
    )


def _ties(base: Knowledge, diagnosis: Diagnosis) -> Iterator[TiePart]:
    for knotter, suspects in diagnosis.by_knotter.items():
        repair = diagnosis.reasoned.findings.repaired[knotter]
        yield TiePart(
            knotter=knotter,
            known=dict(diagnosis.known.at(knotter).evidence.answers),
            set_right=repair.cause if repair else None,
            set_right_name=base.causes[repair.cause].name if repair else None,
            suspects=tuple(suspect_part(base, suspect) for suspect in suspects),
        )


def suspect_part(base: Knowledge, suspect: Suspect) -> SuspectPart:
    return SuspectPart(
        id=suspect.id,
        name=base.causes[suspect.id].name,
        standing=suspect.standing,
        chance=round(suspect.chance, 6),
        mechanism=suspect.mechanism,
        mechanism_name=base.mechanisms[suspect.mechanism].name,
        only_one_known=suspect.only_one,
        because=tuple(_part(reason) for reason in suspect.because),
        against=tuple(_part(reason) for reason in suspect.against),
        rest=suspect.id == base.roles.something_else,
    )


def _part(reason: Reason) -> ReasonPart:
    return ReasonPart(
        rule=reason.source,
        what=reason.what,
        why=reason.why,
        decibans=round(reason.decibans, 2),
        own=reason.own,
    )
