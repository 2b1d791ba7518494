"""A whole diagnosis in one go: the step first, then the suspects with reasons."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import MachineFile
from diagnose.say import (
    Block,
    Gap,
    Labelled,
    Para,
    Part,
    Said,
    View,
    said,
)  # fmt: skip
from diagnose.session import Diagnosis
from diagnose.session.proof import bales_needed, by_luck, trials_a_bale
from diagnose.session.understanding import Contradiction, failure_rate
from diagnose.views.caution import caution_blocks
from diagnose.views.setting import SettingPart, setting_part, tolerance
from diagnose.views.step import StepView, cause_said, luck, read_said, step_view, wrong_readings
from diagnose.views.suspects import NAMED, StandingView, SuspectPart, TiePart, standing_view
from diagnose.views.suspects import suspect_blocks as one_suspect


class ClearedPart(Part):
    cause: str
    name: str
    by: str


class ClashPart(Part):
    """Two things told that cannot both be so."""

    told: str
    rule: str
    because: tuple[str, ...]
    told_said: str
    because_said: tuple[str, ...]


class DoubtfulPart(Part):
    """A reading that is no find."""

    setting: str
    cause: str | None = None
    name: str | None = None
    right: SettingPart = Field(exclude=True)
    read: tuple[Said, ...] = Field((), exclude=True)
    inches: bool = Field(False, exclude=True)


class KeptPart(Part):
    """A cause set right and proved, and the trials counted clean since."""

    cause: str
    name: str
    knotter: int | None = None
    clean: int
    bales: int
    by_luck: float


class DiagnosisView(View):
    """All that a case has come to."""

    case: str
    rules: str
    rules_digest: str
    confirmed_cases: int
    known: dict[str, tuple[str, ...]]
    suspects: tuple[SuspectPart, ...]
    one_cause: float | None = None
    one_cause_standing: str | None = None
    knotters: tuple[TiePart, ...] | None = None
    next_step: StepView
    proved: tuple[KeptPart, ...] | None = None
    cleared: tuple[ClearedPart, ...]
    contradictions: tuple[ClashPart, ...]
    doubtful_readings: tuple[DoubtfulPart, ...]
    set_along: tuple[str, ...] | None = None
    lost: tuple[str, ...]
    standings: dict[str, str]
    numbers: bool = Field(False, exclude=True)

    @property
    def standing(self) -> StandingView:
        return StandingView(
            suspects=self.suspects,
            one_cause=self.one_cause,
            one_cause_standing=self.one_cause_standing,
            knotters=self.knotters,
            numbers=self.numbers,
        )

    def blocks(self) -> Iterator[Block]:
        """Most useful first: what to do now, what disagrees, who is suspect, on what it rests."""
        yield from self.now()
        yield Gap()
        yield from self.clashes()
        for doubtful in self.doubtful_readings:
            yield from doubtful_blocks(doubtful)
        if self.next_step.kind not in ("cured", "call"):
            yield from self.why()

    def now(self) -> Iterator[Block]:
        """The step, and what was set along."""
        step = self.next_step
        match step.kind:
            case "safe":
                yield Para(said("bale.safe_in_case"))
                yield from caution_blocks(step.cautions)
            case "cured":
                yield from self.cured()
            case "call":
                yield from self.call()
            case _:
                yield from step.blocks()
        if step.kind in ("mend", "prove"):
            yield from self.along()

    def along(self) -> Iterator[Block]:
        """What else was set, or is still to be set, beside the fault that was found."""
        if self.set_along:
            names = "; ".join(self.set_along)
            yield Labelled(said("bale.set_too"), said("bale.proof_of_both", names=names))
        left = [one.name for one in self.doubtful_readings if one.name]
        if left:
            yield Labelled(said("bale.still_to_set"), said("bale.list", names="; ".join(left)))

    def why(self) -> Iterator[Block]:
        """The suspects with reasons, what is cleared, and on what it rests."""
        yield from self.standing.why()
        if self.cleared:
            names = ", ".join(one.name for one in self.cleared)
            yield Labelled(said("bale.cleared"), said("bale.list", names=names))
        words = (said("bale.word", word=w, text=t) for w, t in self.standings.items())
        named = ", ".join(map(str, words))
        yield Labelled(said("bale.words"), said("bale.list", names=named))
        yield Para(self.rests_on())

    def rests_on(self) -> Said:
        n = self.confirmed_cases
        if not n:
            return said("bale.no_cases")
        return said("bale.cases", cases=said("count.confirmed_case", n=n))

    def clashes(self, back: bool = False) -> Iterator[Block]:
        """Which two things cannot both be so; `back`: how to change what was told."""
        for clash in self.contradictions:
            text = said(
                "bale.clash_back" if back else "bale.clash",
                told=clash.told_said,
                because=" and ".join(clash.because_said),
                rule=clash.rule,
            )
            yield Labelled(said("bale.disagree"), text)

    def call(self) -> Iterator[Block]:
        """Nothing worth checking is left: the nearest causes, what speaks against each."""
        yield Para(said("bale.call"))
        for suspect in [s for s in self.suspects if not s.rest][:NAMED]:
            yield from one_suspect(suspect, self.numbers)

    def cured(self) -> Iterator[Block]:
        """What was wrong, and what the count since is worth."""
        yield Labelled(said("bale.cured"), self.proved_said())

    def proved_said(self) -> Said:
        kept = self.proved or ()
        fewest = min(kept, key=lambda one: one.clean)
        return said(
            "bale.proved",
            names="; ".join(str(cause_said(one.name, one.knotter)) for one in kept),
            bales=said("count.clean_bale", n=fewest.bales),
            luck=luck(fewest.by_luck),
        )


def doubtful_blocks(doubtful: DoubtfulPart) -> Iterator[Block]:
    """A reading that is no find: how it stands, and what to do with it."""
    right = tolerance(doubtful.right, doubtful.inches)
    text = said("bale.doubtful", name=doubtful.right.name, tolerance=right)
    yield Labelled(said("bale.doubt_read"), text)
    if doubtful.cause is None:
        yield Para(said("bale.on_limit"), 2)
        return
    for words in doubtful.read:
        yield Para(words, 2)
    yield Para(said("bale.unfit", name=doubtful.name), 2)


def diagnosis_view(
    base: Knowledge,
    diagnosis: Diagnosis,
    *,
    numbers: bool = False,
    inches: bool = False,
    machine: MachineFile | None = None,
) -> DiagnosisView:
    """A case reasoned through, as it is told."""
    known, state = diagnosis.known, diagnosis.known.state
    stands = standing_view(base, diagnosis, numbers)
    step = step_view(base, diagnosis.step, diagnosis.case, machine, inches=inches)
    return DiagnosisView(
        case=diagnosis.case.id,
        rules=base.version,
        rules_digest=base.digest,
        confirmed_cases=diagnosis.confirmed_cases,
        known=dict(known.evidence.answers),
        suspects=stands.suspects,
        one_cause=stands.one_cause,
        one_cause_standing=stands.one_cause_standing,
        knotters=stands.knotters,
        next_step=step,
        proved=tuple(_kept(base, diagnosis)) or None,
        cleared=tuple(
            ClearedPart(cause=cause, name=base.causes[cause].name, by=by)
            for cause, by in diagnosis.cleared
        ),
        contradictions=tuple(_clash(base, clash) for clash in known.contradictions),
        doubtful_readings=tuple(_doubtful(base, diagnosis, machine, inches)),
        set_along=tuple(base.causes[cause].name for cause in state.aside) or None,
        lost=tuple(
            sign
            for sign in base.signs
            if any(state.is_lost(sign, k) and sign not in state.answers(k) for k in state.ties)
        ),
        standings={word: text for word, (_, text) in base.standings.items()},
        numbers=numbers,
    )


def _kept(base: Knowledge, diagnosis: Diagnosis) -> Iterator[KeptPart]:
    rate = failure_rate(base, diagnosis.known.evidence.answers)
    for repair in diagnosis.known.state.kept:
        yield KeptPart(
            cause=repair.cause,
            name=base.causes[repair.cause].name,
            knotter=repair.knotter,
            clean=repair.clean,
            bales=bales_of(base, diagnosis, repair.cause, repair.clean),
            by_luck=by_luck(rate, repair.clean),
        )


def bales_of(base: Knowledge, diagnosis: Diagnosis, cause: str, clean: int) -> int:
    """Trials told as bales."""
    knotters = diagnosis.case.machine.knotters
    return bales_needed(clean, trials_a_bale(base.causes[cause], knotters))


def _clash(base: Knowledge, clash: Contradiction) -> ClashPart:
    return ClashPart(
        told=clash.told,
        rule=clash.rule,
        because=clash.because,
        told_said=_in_words(base, clash.told),
        because_said=tuple(_in_words(base, item) for item in clash.because),
    )


def _in_words(base: Knowledge, item: str) -> str:
    sign, _, answers = item.partition(": ")
    if sign not in base.signs:
        return item.replace("_", " ")
    return " or ".join(base.signs[sign].answers[a] for a in answers.split(" or "))


def _doubtful(
    base: Knowledge, diagnosis: Diagnosis, machine: MachineFile | None, inches: bool
) -> Iterator[DoubtfulPart]:
    for one in diagnosis.known.doubtful:
        wrong = wrong_readings(base, diagnosis.case, one.setting, machine)
        yield DoubtfulPart(
            setting=one.setting,
            cause=one.cause,
            name=base.causes[one.cause].name if one.cause else None,
            right=setting_part(base, one.setting),
            read=tuple(read_said(k, move, inches) for k, move in wrong.items()),
            inches=inches,
        )
