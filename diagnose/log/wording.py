"""The words of the reports: the same in text, CSV and HTML."""

from __future__ import annotations

from datetime import datetime

from diagnose.knowledge.model import Knowledge
from diagnose.log.batch import MachineFindings, WorkItem
from diagnose.log.rates import Rate
from diagnose.say.text import count
from diagnose.session import Suspect


def since_words(base: Knowledge, answer: str) -> str:
    """Since when, as a report says it; of an answer that a mark stands for, the rules' words."""
    say = base.roles.since
    told = {
        say.sudden: "suddenly",
        say.growing: "more and more",
        say.after_stop: "mostly in the first bales after a stop",
        say.always: "all through the log",
    }
    return told.get(answer) or base.signs[say.sign].answers[answer]


def number(value: float) -> str:
    """A figure with three digits that count, thousands set apart."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def percent(rate: Rate) -> str:
    """A rate with its exact 95 % interval: `4.8 %, 3.8 to 6.0 %`."""
    return f"{_share(rate.share)} %, {_share(rate.low)} to {_share(rate.high)} %"


def _share(share: float) -> str:
    return f"{100 * share:.2g}" if share < 0.1 else f"{100 * share:.0f}"


def day(when: datetime | None) -> str:
    return f"{when.day} {when:%B %Y}" if when else "an unknown day"


def place(item: WorkItem, base: Knowledge) -> str:
    """`Baler C, knotter 4`."""
    knotters = item.trouble.which.knotters
    if item.trouble.which.answer == base.roles.which.all or not knotters:
        return item.trouble.machine
    word = "knotter" if len(knotters) == 1 else "knotters"
    return f"{item.trouble.machine}, {word} {' and '.join(map(str, knotters))}"


def code_words(code: str, base: Knowledge) -> str:
    """What a neutral code, or an answer told by a code, says."""
    sign, _, answer = code.partition("=")
    if answer:
        return f"{base.signs[sign].ask.rstrip('?')}: {base.signs[sign].answers[answer]}"
    return base.codes[code].says


def what_is_logged(item: WorkItem, base: Knowledge) -> str:
    """The codes of a trouble in words, the strongest first."""
    return "; ".join(f"{code_words(code, base)} ({n}x)" for code, n in item.trouble.codes)


def which_words(item: WorkItem, base: Knowledge) -> str:
    which, role = item.trouble.which, base.roles.which
    told = {
        role.one: "always the same knotter",
        role.few: "always the same knotters",
        role.wandering: "now this knotter, now that one",
        role.all: "all knotters at once",
    }
    if which.answer is None:
        return ""
    strength = max(which.p_hot, default=which.p_even)
    test = "an even fall would look so in" if which.p_hot else "test of an even fall: p ="
    shown = f"{strength:.2g}" if strength >= 0.001 else "less than 0.001"
    return f"{told[which.answer]} ({test} {shown})"


def course_words(item: WorkItem, base: Knowledge) -> str:
    """Since when and how often, with counted bales and intervals."""
    trouble, log = item.trouble, item.log
    run = trouble.course
    if run is None:
        return f"{sum(n for _, n in trouble.codes)} entries; no bale counts, so no rate"
    words = " or ".join(since_words(base, answer) for answer in run.since)
    text = f"{run.now.events} of {run.now.trials:,} bales bad ({percent(run.now)})"
    if run.before.trials and run.p_change < 1:
        text += f", before that {run.before.events} of {run.before.trials:,}"
    text += f"; began {day(log.when(run.began))}, bale {log.bale_count(run.began):,}"
    if words:
        text += f": {words}"
    if run.ended is not None:
        clean = log.bales - run.ended
        text += f"; over since {day(log.when(run.ended))}, {clean:,} clean bales"
    return text


def suspect_words(suspect: Suspect, base: Knowledge, numbers: bool = False) -> str:
    chance = f" ({suspect.chance:.0%})" if numbers else ""
    return f"{base.causes[suspect.id].name}: {suspect.standing}{chance}"


def next_words(item: WorkItem) -> str:
    """The next check with minutes, setup, tool and tolerance."""
    check = item.reasoned.check
    if check is None:
        return "nothing left to check from here; call someone who knows this machine"
    text = f"{check.do} {check.minutes:g} min"
    text += f" and {check.way:g} min to get there" if check.way else ""
    text += f", {check.setup}; tool: {check.tool}"
    text += f"; {check.people} people" if check.people > 1 else ""
    if check.tolerance:
        text += f"; tolerance: {check.tolerance}, {check.basis}, the machine's manual first"
    return text


def machine_words(found: MachineFindings, base: Knowledge) -> str:
    """One line on a machine: bales, days, and its bad ties."""
    log, unknown = found.log, sum(found.log.unmapped.values())
    if not log.judged and not found.troubles:
        return (
            f"{log.name}: NOT JUDGED; {count(unknown, 'entry')} of codes that nobody mapped, "
            f"{log.events:,} understood; say what they mean with --codes TABLE"
        )
    if not log.bales:
        return f"{log.name}: {log.events:,} entries, no bale counts"
    missed = [r.rate for r in found.rates if r.code == base.roles.missed]
    events, trials = sum(r.events for r in missed), log.bales * log.knotters
    wrong = len(found.troubles)
    state = f"{wrong} thing{'s' * (wrong > 1)} wrong" if wrong else "nothing wrong"
    if unknown:
        state += f" in the codes known, {count(unknown, 'entry')} of codes nobody mapped"
    return (
        f"{log.name}: {state}; {count(log.bales, 'bale')} on {count(log.days, 'day')}, "
        f"{events:,} of {trials:,} ties missed"
    )
