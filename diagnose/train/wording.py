"""What the drill says: lists to choose from, what came of a move, and how it is judged."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import shorten

from diagnose.inference.tables import Tables
from diagnose.knowledge.acts import runs, undone
from diagnose.knowledge.model import Knowledge
from diagnose.machine.units import shown
from diagnose.say.text import columns, minutes_text, table, wrapped
from diagnose.train.deal import SOLVED, Deal
from diagnose.train.judge import Judgement
from diagnose.train.play import (
    CHANGE_MINUTES,
    HINT_MINUTES,
    Move,
    Outcome,
    Played,
    Position,
    shown_sign,
    way_to,
)
from diagnose.train.safety import precautions
from diagnose.views.setting import share_text

RAN = "The machine ran: make it safe anew."
SMALL_LOSS = 0.5
"""A loss below this many minutes is not worth a word."""


def key_lines(base: Knowledge) -> list[str]:
    """The keys in short."""
    return [
        "ask [WHAT]    ask the driver or look        check [WHAT]  check at the machine",
        f"name CAUSE    name it and set it right      {' '.join(precautions(base))}",
        "hint  notes  band  call  leave              h             all of this, explained",
    ]


def help_lines(base: Knowledge) -> list[str]:
    """Every key, explained."""
    lines = [
        *table(
            [
                ("ask", "lists what can be asked or looked at; ask TEXT or NUMBER does it"),
                ("check", "lists the checks with their minutes; check TEXT or NUMBER does it"),
                ("name", "lists the causes; name TEXT or NUMBER sets that one right"),
                *((word, what.said) for word, what in precautions(base).items()),
                ("hint", f"the best next step; costs {minutes_text(HINT_MINUTES)}"),
                ("notes", "what you know, and where you stand"),
                ("band", "the tolerance of the last reading"),
                ("call", "give up and call someone; costs hours"),
                ("leave", "stop here; the case waits for you"),
            ]
        ),
        "",
    ]
    return lines + wrapped(
        "Type what makes a step safe before it, several words at once if you like. A step without "
        "it ends the case, and setting a part right is a step. "
        f"A part changed that no check has found costs "
        f"{minutes_text(CHANGE_MINUTES)}, right or wrong."
    )


def bale_lines(base: Knowledge, here: Position) -> list[str]:
    """What hangs from the bale."""
    shown = shown_sign(base)
    answer = base.signs[shown].answers[dict(here.answers)[shown]]
    return wrapped(f"Hanging from the bale: {answer}.")


def opening_lines(base: Knowledge, case: Deal, here: Position) -> list[str]:
    """The head of a case."""
    solved = case.code.startswith(SOLVED)
    head = "A solved case of the casebook, its cause hidden." if solved else f"Case {case.code}"
    return [head, "", *bale_lines(base, here), "", *key_lines(base)]


def sign_labels(base: Knowledge) -> dict[str, str]:
    """The questions to choose from, by id, in the order of the places."""
    shown = shown_sign(base)
    return {
        name: sign.ask
        for place in base.setups
        for name, sign in base.signs.items()
        if name != shown and sign.setup == place
    }


def check_labels(base: Knowledge) -> dict[str, str]:
    """The checks to choose from, by id, in the order of the places."""
    return {
        name: first_sentence(check.do)
        for place in base.setups
        for name, check in base.checks.items()
        if check.setup == place
    }


def cause_labels(base: Knowledge) -> dict[str, str]:
    """The causes to choose from, by id, in the order of the machine's parts."""
    parts = dict.fromkeys(cause.part for cause in base.causes.values())
    return {
        name: cause.name
        for part in parts
        for name, cause in base.causes.items()
        if cause.part == part and name != base.roles.something_else
    }


def first_sentence(text: str) -> str:
    """Up to the first full stop; the rest of an instruction comes with doing it."""
    return text.partition(". ")[0].rstrip(".") + "."


def look_list(tables: Tables, here: Position, kind: str) -> list[str]:
    """Questions or checks by place, each with its number; the way's minutes beside the place."""
    base = tables.base
    labels = sign_labels(base) if kind == "ask" else check_labels(base)
    place_of = {name: (base.signs if kind == "ask" else base.checks)[name].setup for name in labels}
    numbers = {name: number for number, name in enumerate(labels, 1)}
    lines: list[str] = []
    for setup, place in base.setups.items():
        names = [name for name in labels if place_of[name] == setup]
        if not names:
            continue
        way = way_to(tables, here.setup, setup)
        if kind == "ask" and setup == base.start_setup:
            head = "From the driver and the bales"
        else:
            head = place.name[:1].upper() + place.name[1:]
            head += f", {minutes_text(way)} away" if way else ", here"
        rows = ((f"{numbers[n]:>2}", minutes_text(tables.minutes[n]), labels[n]) for n in names)
        lines += [head, *table(rows)]
    return lines


def cause_list(base: Knowledge) -> list[str]:
    """The causes by part of the machine, each with its number."""
    labels = cause_labels(base)
    numbers = {name: number for number, name in enumerate(labels, 1)}
    lines: list[str] = []
    for part in dict.fromkeys(base.causes[name].part for name in labels):
        names = [name for name in labels if base.causes[name].part == part]
        lines += [
            part[:1].upper() + part[1:],
            *table((f"{numbers[name]:>2}", labels[name]) for name in names),
        ]
    return lines


def outcome_lines(
    base: Knowledge, move: Move, outcome: Outcome, after: Position, inches: bool = False
) -> list[str]:
    """What a move brought to light."""
    match move.kind:
        case "ask":
            sign = base.signs[move.id]
            told = f"{sign.ask} {sentence(sign.answers[outcome.answer or ''])}"
            return wrapped(told + _off(base, move.id))
        case "check":
            told = f"{base.checks[move.id].do} {_result(base, outcome, inches)}"
            return wrapped(told + _off(base, move.id))
        case "name":
            return _named(base, move, outcome, after)
        case "call":
            return ["Someone is on the way. The cause was not found."]
    return []


def _off(base: Knowledge, step: str) -> str:
    """What is not secured any more after a step, in a sentence; nothing where all still holds."""
    if runs(base, step):
        return f" {RAN}"
    gone = undone(base, step)
    words = [word for word, what in precautions(base).items() if what.caution in gone]
    return f" Off while you turned, take anew: {' '.join(words)}." if words else ""


def _result(base: Knowledge, outcome: Outcome, inches: bool) -> str:
    """A reading is given without its verdict: that is the learner's."""
    if outcome.reading is not None:
        name, value = outcome.reading
        setting = base.settings[name]
        by_reading = outcome.found in (None, setting.too_low, setting.too_high)
        seen = "" if by_reading else f" And: {base.causes[outcome.found or ''].name}."
        return f"It reads {shown(value, setting.unit, inches=inches)}.{seen}"
    if outcome.found:
        return f"Found: {base.causes[outcome.found].name}."
    return "Nothing wrong found."


def _named(base: Knowledge, move: Move, outcome: Outcome, after: Position) -> list[str]:
    name = base.causes[move.id].name
    if not outcome.right:
        return wrapped(f"{sentence(name)} Set right, started again, and the tie failed as before.")
    if after.end:
        return wrapped(f"{sentence(name)} Set right, started again: the ties hold.")
    first = f"{sentence(name)} It was that, but a second fault shows: the next tie fails too."
    return [*wrapped(first), *bale_lines(base, after), RAN]


def judgement_lines(tables: Tables, judgement: Judgement, spent: float) -> list[str]:
    """Three short lines at most on one move."""
    base, move = tables.base, judgement.move
    lines: list[str] = []
    if judgement.suspects is not None:
        before, after = (round(n) for n in judgement.suspects)
        lines.append(
            f"  {minutes_text(judgement.minutes)}, {minutes_text(spent)} in all. "
            f"Suspects worth counting: {max(1, before)} before, {max(1, after)} now."
        )
        lines += _compared(base, judgement)
    elif move.kind == "name":
        lines += [f"  {line}" for line in _timing(judgement)]
    return lines[:3]


def _compared(base: Knowledge, judgement: Judgement) -> list[str]:
    if judgement.best.kind == "name":
        return ["  The cause was found already: name it."]
    if judgement.loss < SMALL_LOSS:
        return ["  As good as the best step."]
    share = judgement.rate / judgement.best_rate if judgement.best_rate else 1.0
    best = shorten(
        f"  Better: {move_text(base, judgement.best)}", columns() - 2, placeholder=" ..."
    )
    return [f"  {best}", f"  This one loses {minutes_text(judgement.loss)}.{_promised(share)}"]


def _promised(share: float) -> str:
    """What a step promised to tell, against the best step's, minute for minute."""
    if share >= 1:
        return ""
    if share < 0.05:
        return " It promised to tell next to nothing."
    for limit, words in ((0.15, "a tenth"), (0.3, "a quarter"), (0.42, "a third"), (0.6, "half")):
        if share < limit:
            return f" It promised {words} as much for a minute."
    return " It promised nearly as much for a minute."


def _timing(judgement: Judgement) -> list[str]:
    if judgement.early:
        return [
            f"Too early: no check had found it. Its chance: {share_text(judgement.chance or 0)}.",
            f"A part changed on suspicion: {minutes_text(judgement.minutes)}.",
        ]
    if judgement.late >= SMALL_LOSS:
        return [f"Too late: found {minutes_text(judgement.late)} ago, nothing more was needed."]
    return ["At the right time: found by a check, then named."]


def move_text(base: Knowledge, move: Move) -> str:
    """A move in words."""
    match move.kind:
        case "ask":
            return base.signs[move.id].ask
        case "check":
            return base.checks[move.id].do
        case "name":
            return f"name it: {base.causes[move.id].name}"
    return "call someone"


def unsafe_lines(base: Knowledge, forgot: str) -> list[str]:
    """Why an unsafe step ends a case, and the caution that says so."""
    what = precautions(base)[forgot]
    caution = base.cautions[what.caution]
    return [
        *wrapped(f"UNSAFE. The case ends here. You had not said '{forgot}': {what.said}."),
        *wrapped(caution.danger, indent=2),
        *wrapped(caution.first, indent=2),
        f"  ({what.caution}: {caution.basis})",
    ]


def notes_lines(tables: Tables, here: Position) -> list[str]:
    """What is known, and where the learner stands."""
    base = tables.base
    taken = [word for word in precautions(base) if word in here.taken]
    rows = [
        ("You stand", base.setups[here.setup].name),
        ("Made safe", ", ".join(taken) or "nothing yet"),
        ("Spent", minutes_text(here.minutes) if here.minutes else "no time yet"),
    ]
    rows += [("Seen", f"{base.signs[s].ask} {base.signs[s].answers[a]}") for s, a in here.answers]
    rows += [("Checked", f"{base.checks[check].do}") for check, _ in here.results]
    rows += [
        ("Set right", base.causes[cause].name) for cause in base.causes if cause in here.mended
    ]
    return table(rows)


def end_lines(played: Played, score: int, planner: Played, others: Iterable[str]) -> list[str]:
    """Minutes against the planner's, the score, and what others made of the case."""
    minutes, best = played.here.minutes, planner.here.minutes
    lines = []
    if played.here.end != "unsafe":
        lines += [
            f"You {minutes_text(minutes)}, the planner {minutes_text(best)} on the same case. "
            f"Score {score} of 100."
        ]
        lines += wrapped(
            "The score leaves luck out: the share of your minutes that no better step would have "
            "saved."
        )
    code = played.case.code
    option = (
        f"--case {code.removeprefix(SOLVED)}" if code.startswith(SOLVED) else f"--number {code}"
    )
    return [*lines, *others, f"The same case again, for you or for another: {option}"]


def ended_text(end: str, minutes: float, score: int) -> str:
    """What somebody made of a case, in a few words."""
    if end == "unsafe":
        return "ended by an unsafe step"
    return f"{minutes_text(minutes)}, score {score}"


def sentence(text: str) -> str:
    """With a capital at its head and a stop at its end."""
    end = "" if text.endswith((".", "?", "!")) else "."
    return text[:1].upper() + text[1:] + end
