"""The words of the reports: the same in text, CSV and HTML."""

from __future__ import annotations

from datetime import datetime

from diagnose.knowledge.model import Knowledge
from diagnose.log.batch import MachineFindings, WorkItem
from diagnose.log.rates import Rate
from diagnose.say import Words, said
from diagnose.session import Suspect


def since_words(base: Knowledge, answer: str) -> str:
    """Since when, as a report says it; of an answer that a mark stands for, the rules' words."""
    say = base.roles.since
    told = {
        say.sudden: said("log.suddenly"),
        say.growing: said("log.growing"),
        say.after_stop: said("log.after_stop"),
        say.always: said("log.always"),
    }
    return str(told.get(answer) or base.signs[say.sign].answers[answer])


def number(value: float) -> str:
    """A figure with three digits that count, thousands set apart."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def percent(rate: Rate) -> str:
    """A rate with its exact 95 % interval: `4.8 %, 3.8 to 6.0 %`."""
    share, low, high = (_share(value) for value in (rate.share, rate.low, rate.high))
    return str(said("log.percent", share=share, low=low, high=high))


def _share(share: float) -> str:
    return f"{100 * share:.2g}" if share < 0.1 else f"{100 * share:.0f}"


def day(when: datetime | None) -> str:
    return str(said("log.day", day=when.day, when=when) if when else said("log.unknown_day"))


def place(item: WorkItem, base: Knowledge) -> str:
    """`Baler C, knotter 4`."""
    knotters, machine = item.trouble.which.knotters, item.trouble.machine
    if item.trouble.which.answer == base.roles.which.all or not knotters:
        return machine
    named = " and ".join(map(str, knotters))
    return str(said("log.at_knotter", n=len(knotters), machine=machine, knotters=named))


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
        role.one: said("log.same_knotter"),
        role.few: said("log.same_knotters"),
        role.wandering: said("log.wandering"),
        role.all: said("log.all_at_once"),
    }
    if which.answer is None:
        return ""
    value = max(which.p_hot, default=which.p_even)
    strength: Words = f"{value:.2g}" if value >= 0.001 else said("log.under_thousandth")
    words = said(
        "log.which_hot" if which.p_hot else "log.which_even",
        which=told[which.answer],
        strength=strength,
    )
    return str(words)


def course_words(item: WorkItem, base: Knowledge) -> str:
    """Since when and how often, with counted bales and intervals."""
    trouble, log = item.trouble, item.log
    run = trouble.course
    if run is None:
        return str(said("log.no_counts", entries=sum(n for _, n in trouble.codes)))
    how = " or ".join(since_words(base, answer) for answer in run.since)
    now, before = run.now, run.before
    told = said("log.bad_bales", bad=now.events, bales=now.trials, rate=percent(now))
    if before.trials and run.p_change < 1:
        told = said("log.before_that", told=told, bad=before.events, bales=before.trials)
    since, bale = day(log.when(run.began)), log.bale_count(run.began)
    if how:
        told = said("log.began_how", told=told, day=since, bale=bale, how=how)
    else:
        told = said("log.began", told=told, day=since, bale=bale)
    if run.ended is not None:
        over, clean = day(log.when(run.ended)), log.bales - run.ended
        told = said("log.over_since", told=told, day=over, clean=clean)
    return str(told)


def suspect_words(suspect: Suspect, base: Knowledge, numbers: bool = False) -> str:
    name, standing = base.causes[suspect.id].name, suspect.standing
    if numbers:
        return str(said("log.stands_chance", name=name, standing=standing, chance=suspect.chance))
    return str(said("log.stands", name=name, standing=standing))


def next_words(item: WorkItem) -> str:
    """The next check with minutes, setup, tool and tolerance."""
    check = item.reasoned.check
    if check is None:
        return str(said("log.nothing_left"))
    told = said("log.check", do=check.do, minutes=check.minutes)
    if check.way:
        told = said("log.check_way", check=told, way=check.way)
    told = said("log.check_at", check=told, setup=check.setup, tool=check.tool)
    if check.people > 1:
        told = said("log.check_people", check=told, people=check.people)
    if check.tolerance:
        told = said("log.check_tolerance", check=told, tolerance=check.tolerance, basis=check.basis)
    return str(told)


def machine_words(found: MachineFindings, base: Knowledge) -> str:
    """One line on a machine: bales, days, and its bad ties."""
    log = found.log
    unknown = sum(log.unmapped.values())
    entries = said("count.entry", n=unknown)
    if not log.judged and not found.troubles:
        events = log.events
        return str(said("log.machine_not_judged", machine=log.name, entries=entries, events=events))
    if not log.bales:
        return str(said("log.machine_no_counts", machine=log.name, events=log.events))
    wrong = len(found.troubles)
    state = said("log.things_wrong", n=wrong) if wrong else said("log.nothing_wrong_here")
    if unknown:
        state = said("log.state_unknown", state=state, entries=entries)
    missed = sum(r.rate.events for r in found.rates if r.code == base.roles.missed)
    told = said(
        "log.machine_state",
        machine=log.name,
        state=state,
        bales=said("count.bale", n=log.bales),
        days=said("count.day", n=log.days),
        missed=missed,
        ties=log.bales * log.knotters,
    )
    return str(told)
