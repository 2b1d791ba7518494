"""A step, the suspects and the reasons in the technician's words. Pure: data in, lines out."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.adjustment import Adjustment, adjustment, move_lines
from diagnose.bale.cautions import caution_lines
from diagnose.case import Case, Checked, Event, NotKnown, NotNow, Reading, Seen
from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine import MachineFile
from diagnose.say.text import columns, count, minutes_text, wrapped
from diagnose.session import Diagnosis, Step, Suspect
from diagnose.session.diagnosis import Reason, standing
from diagnose.session.proof import bales_needed, by_luck, luck_text, trials_a_bale
from diagnose.session.review import Told
from diagnose.session.understanding import Doubtful, failure_rate
from diagnose.tolerance import called
from diagnose.units import shown

NAMED = 3
"""So many suspects are named after each answer, something else besides."""
REASONS = 3
MANUAL_FIRST = "The machine's own manual goes before this."


def heading(base: Knowledge, step: Step, number: int) -> list[str]:
    """What kind of step, how long, and where; the place on a line of its own where it is narrow."""
    kind = {"ask": "Question", "check": "Check"}[step.kind]
    way = f" + {minutes_text(step.way)} to get there" if step.way else ""
    place = base.setups[step.setup or base.start_setup].name
    at = f", knotter {step.knotter}" if step.knotter else ""
    line = f"{kind} {number}   {minutes_text(step.minutes)}{way}   {place}{at}"
    if len(line) <= columns():
        return [line]
    return [
        *wrapped(f"{minutes_text(step.minutes)}{way}", first=f"{kind} {number}   "),
        *wrapped(f"{place}{at}", 2),
    ]


def step_lines(
    base: Knowledge, step: Step, number: int, told: Iterable[str] = (), inches: bool = False
) -> list[str]:
    """A question or a check as it is put; cautions already `told` are only named."""
    if step.kind == "ask":
        sign = base.signs[step.id]
        lines = [*heading(base, step, number), *wrapped(sign.ask)]
        lines += wrapped(sign.look, 2)
        lines += caution_lines(base, step.cautions, told)
        for i, text in enumerate(sign.answers.values(), 1):
            lines += wrapped(text, first=f"  {i:>2}  ")
        return lines + wrapped(why_now(step), first="  Why now: ")
    check = base.checks[step.id]
    lines = [*heading(base, step, number), *wrapped(check.do)]
    lines += wrapped(check.tool, first="  With: ")
    if check.people > 1:
        lines += wrapped(f"{check.people} people.", first="  Needs: ")
    if step.way:
        lines += wrapped(base.setups[check.setup].how, first="  Stand: ")
    if step.setting:
        lines += tolerance_lines(base.settings[step.setting], inches)
    lines += caution_lines(base, step.cautions, told)
    for i, text in enumerate(check_answers(base, step.id).values(), 1):
        lines += wrapped(text, first=f"  {i:>2}  ")
    return lines + wrapped(why_now(step), first="  Why now: ")


def check_answers(base: Knowledge, check: str) -> dict[str | None, str]:
    """Results that can be chosen: nothing wrong (None), or one of the causes it confirms."""
    body = base.checks[check]
    return {None: "nothing wrong here", **{c: base.causes[c].name for c in body.confirms}}


def tolerance_text(setting: Setting, inches: bool = False) -> str:
    """Nominal, band and basis of each, e.g. `33 mm, between 32 and 34 mm (...)`; an example of
    another machine is said to be one."""
    low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
    nominal = shown(setting.nominal, setting.unit, inches=inches)
    same = setting.basis == setting.band_basis
    basis = str(setting.basis) if same else f"{setting.basis}; band: {setting.band_basis}"
    return called(setting, f"{nominal}, between {low} and {high} ({basis}).")


def tolerance_lines(setting: Setting, inches: bool = False) -> list[str]:
    label = "  " if setting.example else "  Right is: "
    lines = wrapped(tolerance_text(setting, inches), first=label)
    if setting.basis.kind != "manual":
        lines += wrapped(MANUAL_FIRST, 2)
    return lines + wrapped(setting.where, first="  Measure: ")


def why_now(step: Step) -> str:
    """One sentence: what the step was chosen for."""
    if step.opening:
        return "asked first, as every tie begins with it."
    if step.before:
        return "the step after this one would destroy it."
    left = f"about {minutes_text(step.expected)} still to go." if step.expected else ""
    if step.again:
        return f"again, as it was put off or can be overlooked; nothing else is worth more; {left}"
    if step.kind == "ask" and step.saves is not None:
        return f"saves about {minutes_text(step.saves)} of checking; {left}"
    if step.finds is not None:
        return f"finds the fault in about {share_text(step.finds)}; {left}"
    return left


def share_text(share: float) -> str:
    """`3 in 10`, `1 in 25`: a chance as a count, which reads less like certainty."""
    if share >= 0.095:
        return f"{min(10, round(share * 10))} in 10"
    return f"1 in {round(1 / share)}" if share > 0.001 else "fewer than 1 in 1000"


def standing_line(base: Knowledge, diagnosis: Diagnosis, numbers: bool = False) -> list[str]:
    """The first suspects in a few lines, by knotter where several fail; something else is always
    among them."""
    if not diagnosis.by_knotter:
        return wrapped(_first_suspects(base, diagnosis.suspects, numbers), first="Now: ")
    lines = wrapped(structure_text(base, diagnosis))
    for knotter, suspects in diagnosis.by_knotter.items():
        repair = diagnosis.reasoned.findings.repaired[knotter]
        text = (
            f"{base.causes[repair.cause].name}, set right"
            if repair
            else _first_suspects(base, suspects, numbers)
        )
        lines += wrapped(text, first=f"Knotter {knotter}: ")
    return lines


def _first_suspects(base: Knowledge, suspects: Iterable[Suspect], numbers: bool) -> str:
    rest = base.roles.something_else
    first = [s for s in suspects if s.id != rest][:NAMED] + [s for s in suspects if s.id == rest]
    return "; ".join(f"{base.causes[s.id].name}: {_standing(s, numbers)}" for s in first) + "."


def structure_text(base: Knowledge, diagnosis: Diagnosis) -> str:
    """Whether one fault is behind several failing knotters; empty with a single one."""
    chance = diagnosis.reasoned.one_cause
    if chance is None:
        return ""
    names = listed([str(knotter) for knotter in diagnosis.by_knotter])
    if chance >= 0.5:
        return f"One fault behind knotters {names}: {standing(base, chance)}."
    faults = "two faults" if len(diagnosis.by_knotter) == 2 else "several faults"
    return f"Knotters {names} look different: most likely {faults}."


def listed(names: list[str]) -> str:
    """`2, 3 and 5`."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)


def _standing(suspect: Suspect, numbers: bool) -> str:
    return f"{suspect.standing} ({suspect.chance:.1%})" if numbers else suspect.standing


def suspect_lines(base: Knowledge, suspect: Suspect, numbers: bool = False) -> list[str]:
    """One suspect: standing, because, against."""
    name = base.causes[suspect.id].name
    lines = wrapped(f"{name}: {_standing(suspect, numbers)}")
    lines += wrapped(base.mechanisms[suspect.mechanism].name, first="    would mean: ")
    if suspect.only_one:
        lines += wrapped("the only cause known here for that, so look twice.", first="    note: ")
    for reason in suspect.because[:REASONS]:
        lines += _reason_lines("because", reason)
    for reason in suspect.against[:REASONS]:
        lines += _reason_lines("against", reason, "its rule: ")
    if not suspect.because and not suspect.against:
        lines += wrapped("nothing yet for or against it.", first="    open: ")
    return lines


def _reason_lines(side: str, reason: Reason, before: str = "") -> list[str]:
    why = f" ({before}{reason.why})" if reason.why else ""
    source = f"own rule: {reason.source}" if reason.own else reason.source
    return wrapped(f"{reason.what}{why} [{source}]", first=f"    {side}: ")


def why_lines(base: Knowledge, diagnosis: Diagnosis, numbers: bool = False) -> list[str]:
    """Answer to `?`: the suspects with reasons, what is cleared, and on what it rests."""
    lines: list[str] = []
    if diagnosis.by_knotter:
        lines += wrapped(structure_text(base, diagnosis))
    for knotter in diagnosis.by_knotter:
        if diagnosis.reasoned.findings.repaired[knotter]:
            continue
        lines += [f"At knotter {knotter}"]
        for suspect in diagnosis.by_knotter[knotter][:NAMED]:
            lines += suspect_lines(base, suspect, numbers)
    for suspect in () if diagnosis.by_knotter else diagnosis.suspects[:NAMED]:
        lines += suspect_lines(base, suspect, numbers)
    if diagnosis.cleared:
        names = ", ".join(base.causes[cause].name for cause, _ in diagnosis.cleared)
        lines += wrapped(f"{names}.", first="Cleared: ")
    rank = ", ".join(f"{word}: {text}" for word, (_, text) in base.standings.items())
    lines += wrapped(f"{rank}.", first="Words: ")
    return lines + wrapped(rests_on(diagnosis))


def rests_on(diagnosis: Diagnosis) -> str:
    n = diagnosis.confirmed_cases
    if not n:
        return "Commonness of causes is judgement; no confirmed cases are counted in."
    return f"Commonness of causes rests on {count(n, 'confirmed case')} and judgement."


def mend_lines(
    base: Knowledge,
    step: Step,
    case: Case,
    told: Iterable[str] = (),
    machine: MachineFile | None = None,
    inches: bool = False,
) -> list[str]:
    """A cause is found: how to set it, how far to turn, what to measure again."""
    cause = base.causes[step.id]
    wrong = wrong_readings(base, case, step.setting, machine) if step.setting else {}
    if step.knotter:
        wrong = {k: move for k, move in wrong.items() if k in (None, step.knotter)}
    where = ", ".join(str(knotter) for knotter in wrong if knotter) or str(step.knotter or "")
    at = f" at knotter {where}" if where else ""
    lines = wrapped(f"{cause.name}{at}. {cause.why}", first="Found: ")
    lines += wrapped(cause.mend, first="  Set it: ")
    if step.setting:
        lines += tolerance_lines(base.settings[step.setting], inches)
    for knotter, move in wrong.items():
        of = f"knotter {knotter}, " if knotter else ""
        read = shown(move.value, move.setting.unit, inches=inches)
        how = " ".join(move_lines(move, inches=inches))
        lines += wrapped(f"{of}{read}. {how}", first="  Read: ")
    lines += caution_lines(base, step.cautions, told)
    if step.measure_again:
        lines += wrapped(
            "; ".join(item_name(base, item) for item in step.measure_again) + ".",
            first="  Go through again: ",
        )
    then = " Then go through the list again, before you bale." if step.measure_again else ""
    return lines + wrapped(f"One change at a time.{then}", 2)


def item_name(base: Knowledge, item: str) -> str:
    """A setting's or a check's name, as a list names it."""
    return base.settings[item].name if item in base.settings else base.checks[item].do.rstrip(".")


def wrong_readings(
    base: Knowledge, case: Case, setting: str, machine: MachineFile | None
) -> dict[int | None, Adjustment]:
    """The last reading at each knotter that is out of its band, with the way back into it."""
    readings = {
        event.knotter: event
        for event in case.events
        if isinstance(event, Reading) and event.setting == setting
    }
    moves = {k: adjustment(base.settings[setting], r, machine) for k, r in readings.items()}
    return {knotter: move for knotter, move in moves.items() if move.wanted}


NOTED = (
    "Noted; it does not explain this fault. Set it last, or now: then both changes are recorded "
    "and the proof is of both."
)


def doubtful_lines(
    base: Knowledge,
    case: Case,
    doubtful: Doubtful,
    machine: MachineFile | None,
    inches: bool = False,
) -> list[str]:
    """A reading that is no find: how it stands, and what to do with it."""
    setting = base.settings[doubtful.setting]
    lines = [*wrapped(f"{setting.name}. {tolerance_text(setting, inches)}", first="Read: ")]
    if doubtful.cause is None:
        return lines + wrapped(
            "On the limit: with this gauge it is neither in nor out, and says nothing here. "
            "Measure with a finer one, or set it to the middle last. The search goes on.",
            2,
        )
    for knotter, move in wrong_readings(base, case, doubtful.setting, machine).items():
        of = f"knotter {knotter}, " if knotter else ""
        how = " ".join(move_lines(move, inches=inches))
        lines += wrapped(f"{of}{shown(move.value, move.setting.unit, inches=inches)}. {how}", 2)
    return lines + wrapped(
        f"That is: {base.causes[doubtful.cause].name}. {NOTED} The search goes on.",
        2,
    )


def aside_lines(base: Knowledge, diagnosis: Diagnosis) -> list[str]:
    """What else was set, or is still to be set, beside the fault that was found."""
    state, doubtful = diagnosis.known.state, diagnosis.known.doubtful
    names = [base.causes[cause].name for cause in state.aside]
    lines = (
        wrapped(f"{'; '.join(names)}: the proof is of both.", first="Set too: ") if names else []
    )
    left = [base.causes[d.cause].name for d in doubtful if d.cause]
    return lines + (wrapped(f"{'; '.join(left)}.", first="Still to set: ") if left else [])


def proof_lines(base: Knowledge, step: Step, told: Iterable[str] = ()) -> list[str]:
    """How many clean bales prove the cure, what they are worth, and what counts once."""
    assert step.trials is not None
    assert step.bales is not None
    assert step.rate is not None
    luck = luck_text(by_luck(step.rate, step.bales * step.a_bale))
    lines = []
    if len(step.proofs) > 1:
        set_right = "; ".join(cause_at(base, p.cause, p.knotter) for p in step.proofs)
        lines += wrapped(f"{set_right}. One proof of all.", first="Set right: ")
    lines += wrapped(
        f"{count(step.bales, 'clean bale')} in a row, as it failed about "
        f"{share_text(step.rate)} before ({step.basis}). Had nothing changed, a run like this "
        f"would come by luck in {luck}.",
        first="Proof: ",
    )
    lines += caution_lines(base, step.cautions, told)
    lines += wrapped(what_counts(base, step), 2)
    again = "or f and the knotter" if len(step.proofs) > 1 else "or f"
    return lines + wrapped(
        "Look at the bales after they have left the machine. The first bale after threading does "
        f"not count. Type how many were clean, {again} if it failed again.",
        2,
    )


def cause_at(base: Knowledge, cause: str, knotter: int | None) -> str:
    """`hook worn at knotter 2`; the cause alone where no knotter is named."""
    name = base.causes[cause].name
    return f"{name} at knotter {knotter}" if knotter else name


def what_counts(base: Knowledge, step: Step) -> str:
    """What is one trial of this fault, in a sentence."""
    match base.causes[step.id].trial:
        case "cycle":
            return (
                "One bale is one try, whatever its strands: a bale is clean with all of them tied."
            )
        case "strand":
            return (
                "One bale is one try: a bale is clean with the strands tied at the knotters that "
                "failed."
            )
        case _:
            each = f", {step.a_bale} a bale" if step.a_bale > 1 else ""
            return f"Each strand is a try of its own{each}: a bale is clean with all of them tied."


def proved_text(base: Knowledge, diagnosis: Diagnosis) -> str:
    """What was counted since, and what such a run would be worth by luck."""
    kept = diagnosis.known.state.kept
    rate = failure_rate(base, diagnosis.known.evidence.answers)
    fewest = min(kept, key=lambda repair: repair.clean)
    luck = luck_text(by_luck(rate, fewest.clean))
    names = "; ".join(cause_at(base, repair.cause, repair.knotter) for repair in kept)
    return (
        f"{names}. {clean_text(base, diagnosis.case, fewest.cause, fewest.clean)} since: had "
        f"nothing changed, so many would come by luck in {luck}."
    )


def clean_text(base: Knowledge, case: Case, cause: str, clean: int) -> str:
    """`59 clean bales`: trials told as bales."""
    a_bale = trials_a_bale(base.causes[cause], case.machine.knotters)
    return count(bales_needed(clean, a_bale), "clean bale")


def told_text(base: Knowledge, answer: Told) -> str:
    """One answer given: what was asked, and what was said."""
    step = answer.step
    asked = base.signs[step].ask if step in base.signs else base.checks[step].do
    return f"{asked} {'; '.join(_said(base, event) for event in answer.events)}"


def _said(base: Knowledge, event: Event) -> str:
    knotter = getattr(event, "knotter", None)
    at = f"knotter {knotter}: " if knotter else ""
    match event:
        case Seen():
            return at + " or ".join(base.signs[event.sign].answers[a] for a in event.answers)
        case NotKnown():
            return f"{at}don't know"
        case NotNow():
            return f"{at}not now"
        case Reading():
            return f"{at}{event.value:g} {event.unit}"
        case Checked():
            return at + (base.causes[event.found].name if event.found else "nothing wrong")
    return event.__class__.__name__


def call_lines(base: Knowledge, diagnosis: Diagnosis, numbers: bool = False) -> list[str]:
    """Nothing worth checking is left: the nearest causes, what speaks against each, who to call."""
    lines = wrapped(
        "Nothing known here fits and is still worth checking. Call the dealer's workshop or the "
        "machine's service line, and give them this record. The nearest were:"
    )
    for suspect in [s for s in diagnosis.suspects if s.id != base.roles.something_else][:NAMED]:
        lines += suspect_lines(base, suspect, numbers)
    return lines


def contradiction_lines(base: Knowledge, diagnosis: Diagnosis, how: str = "") -> list[str]:
    """Which two things cannot both be so."""
    lines: list[str] = []
    for clash in diagnosis.known.contradictions:
        told = _in_words(base, clash.told)
        because = " and ".join(_in_words(base, item) for item in clash.because)
        lines += wrapped(
            f"'{told}' does not go with '{because}' [{clash.rule}]. What you told stands and the "
            f"search goes on{how}.",
            first="Two answers disagree: ",
        )
    return lines


def _in_words(base: Knowledge, item: str) -> str:
    sign, _, answers = item.partition(": ")
    if sign not in base.signs:
        return item.replace("_", " ")
    return " or ".join(base.signs[sign].answers[a] for a in answers.split(" or "))
