"""The rule base as pages to read: listings, one item, the report of its proofs, a new rule."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.errors import InputError, Place, nearest
from diagnose.knowledge.acts import cautions_of, destroyed
from diagnose.knowledge.model import (
    Bale,
    Cause,
    Check,
    Knowledge,
    Known,
    Means,
    Setting,
    Shows,
    Sign,
)
from diagnose.say.text import count, minutes_text, table, times_text, wrapped

if TYPE_CHECKING:
    from diagnose.rulebook.moved import Moved, Stood
    from diagnose.rulebook.proofs import Report

KINDS = ("mechanisms", "signs", "causes", "checks", "settings", "setups", "moves", "cautions",
         "sources", "codes", "shows", "means")  # fmt: skip
OWN = " (own)"
TITLES = {"shows": "rules: what a mechanism or cause shows", "means": "rules: what follows"}


def listing(base: Knowledge, words: tuple[str, ...] = ()) -> list[dict[str, str]]:
    """Kind, id, text and basis of every item that holds all of `words`."""
    rows = []
    for kind in KINDS:
        for name, item in getattr(base, kind).items():
            text = _title(item) + (OWN if f"{kind}:{name}" in base.own else "")
            row = {"kind": kind, "id": name, "text": text, "basis": _basis_of(item)}
            haystack = " ".join(row.values()).lower()
            if all(word.lower() in haystack for word in words):
                rows.append(row)
    return rows


def _title(item: Any) -> str:
    for attribute in ("name", "ask", "do", "danger", "title", "says", "why"):
        if hasattr(item, attribute):
            return str(getattr(item, attribute))
    return " - ".join(item.between)


def _basis_of(item: Any) -> str:
    return str(item.basis) if hasattr(item, "basis") else item.where


def listing_lines(rows: list[dict[str, str]]) -> list[str]:
    if not rows:
        return ["Nothing in the rule base holds these words."]
    lines: list[str] = []
    for kind in KINDS:
        found = [(row["id"], row["text"]) for row in rows if row["kind"] == kind]
        if found:
            lines += [*wrapped(f"{TITLES.get(kind, kind)} ({len(found)})"), *table(found), ""]
    return lines[:-1]


def find(base: Knowledge, name: str) -> tuple[str, Any]:
    """Kind and item of an id. Raises InputError with the nearest id."""
    for kind in KINDS:
        if name in getattr(base, kind):
            return kind, getattr(base, kind)[name]
    known = [known for kind in KINDS for known in getattr(base, kind)]
    raise InputError(f"nothing is called '{name}'{nearest(name, known)}")


def item_data(base: Knowledge, name: str) -> dict[str, Any]:
    kind, item = find(base, name)
    data: dict[str, Any] = item.model_dump(mode="json", by_alias=True, exclude_none=True)
    if "kind" in data:
        data["code_kind"] = data.pop("kind")
    place = base.places.get(f"{kind}:{name}")
    file = {"file": str(Path(place.path).name), "line": place.line} if place else {}
    return {"kind": kind, "id": name, **data, **file}


def page_lines(base: Knowledge, name: str) -> list[str]:
    """One item as a page: what it says, what goes with it, why, basis and place."""
    kind, item = find(base, name)
    lines = wrapped(f"{name}: {_title(item)}")
    match item:
        case Cause():
            lines += _cause(base, name, item)
        case Sign():
            lines += _sign(base, name, item)
        case Check():
            lines += _check(base, name, item)
        case Setting():
            lines += _setting(base, item)
        case Shows():
            lines += _shows(base, name, item)
        case Means():
            lines += _labelled("If", known_text(base, item.if_))
            lines += _labelled("Unless", known_text(base, item.unless)) if item.unless else []
            lines += _labelled("Then", known_text(base, dict(item.then)))
        case _:
            for field in ("story", "how", "first", "where", "read"):
                if hasattr(item, field):
                    lines += wrapped(str(getattr(item, field)), 2)
            lines += _shown_by(base, name)
    lines += _labelled("Basis", basis_text(base, item))
    place = base.places.get(f"{kind}:{name}")
    own = OWN if f"{kind}:{name}" in base.own else ""
    return lines + (
        _labelled("Stands in", f"{Path(place.path).name}:{place.line}{own}") if place else []
    )


def basis_text(base: Knowledge, item: Any) -> str:
    """The basis in full, a published source with its title and how it was read."""
    basis = getattr(item, "basis", None)
    if basis is None:
        return _basis_of(item)
    if basis.kind != "published":
        return str(basis)
    source = base.sources[basis.source]
    return f"{source.title}; {source.where} ({source.read})"


def known_text(base: Knowledge, known: Known) -> str:
    """Conditions in the words of the signs."""
    parts = []
    for sign, given in known.items():
        answers = [given] if isinstance(given, str) else given
        if sign in base.signs:
            words = " or ".join(base.signs[sign].answers[a] for a in answers)
            parts.append(f"{base.signs[sign].ask.rstrip('?')}: {words}")
        elif sign.startswith("grade."):
            parts.append(f"{base.settings[sign[6:]].name} reads {' or '.join(answers)}")
        else:
            parts.append(f"logged: {' or '.join(answers).replace('_', ' ')}")
    return ", and ".join(parts)


def _labelled(label: str, text: str) -> list[str]:
    return wrapped(text, first=f"  {label}: ")


def _cause(base: Knowledge, name: str, cause: Cause) -> list[str]:
    lines = _labelled("Why", cause.why)
    lines += _labelled("How common", cause.common)
    for mechanism, word in cause.leads.items():
        lines += _labelled("Leads to", f"{base.mechanisms[mechanism].name} ({word})")
    lines += _shown_by(base, name)
    for check in base.links.finders[name]:
        body = base.checks[check]
        overlooked = f"overlooks it {body.confirms[name]}"
        lines += _labelled("Check", f"{body.do} [{check}, {overlooked}]")
    lines += _labelled("Set it", cause.mend)
    for name, bale in cause.bales.items():
        lines += _labelled("Bale", f"{name} ({_stands(bale)})")
        lines += wrapped(_told(base, bale), 4)
    return lines


def _stands(bale: Bale) -> str:
    """Where its cause stands, as the bale has it."""
    if bale.not_among is not None:
        return f"not among the first {bale.not_among}"
    place = "first" if bale.rank == 1 else f"number {bale.rank}"
    return f"{place}, {bale.odds:g} times the next" if bale.odds > 1 else place


def _told(base: Knowledge, bale: Bale) -> str:
    """Everything that a bale tells, in the words of the rules."""
    parts = [known_text(base, bale.seen)] if bale.seen else []
    parts += [f"logged: {base.codes[code].says}" for code in bale.codes]
    for name, value in bale.readings.items():
        parts.append(f"{base.settings[name].name}: {value:g} {base.settings[name].unit}")
    return ", and ".join(parts)


def _shown_by(base: Knowledge, target: str) -> list[str]:
    lines: list[str] = []
    for rule in base.links.rules_on.get(target, ()):
        lines += _labelled("You see", f"{_answers(base, rule, base.shows[rule])} [{rule}]")
    return lines


def _answers(base: Knowledge, rule: str, body: Shows) -> str:
    sign = base.signs[base.links.spoken[rule].sign]
    words = ", ".join(f"{sign.answers[a]} ({word})" for a, word in body.answers.items())
    return f"{sign.ask} {words}"


def _sign(base: Knowledge, name: str, sign: Sign) -> list[str]:
    lines = _labelled("Look", sign.look)
    lines += table((f"  {answer}", text) for answer, text in sign.answers.items())
    lines += _labelled("Takes", f"{minutes_text(sign.minutes)}, {base.setups[sign.setup].name}")
    rules = base.links.rules_on.get(name, ())
    lines += _labelled("Rules", ", ".join(rules) or "none")
    return lines + _cautions(base, name)


def _check(base: Knowledge, name: str, check: Check) -> list[str]:
    lines = _labelled("With", check.tool)
    takes = f"{minutes_text(check.minutes)}, {count(check.people, 'person')}"
    takes = takes.replace("persons", "people")
    lines += _labelled("Takes", f"{takes}, {base.setups[check.setup].name}")
    for cause, word in check.confirms.items():
        lines += _labelled("Finds", f"{base.causes[cause].name} (overlooks it {word}) [{cause}]")
    if check.setting:
        lines += _setting(base, base.settings[check.setting])
    return lines + _cautions(base, name)


def _cautions(base: Knowledge, act: str) -> list[str]:
    """What to do first, and the looks that the act would destroy."""
    lines = []
    for caution in cautions_of(base, act):
        lines += _labelled("!", base.cautions[caution].first)
    gone = [base.signs[sign].ask for sign in destroyed(base, act)]
    return lines + (_labelled("Look first", " ".join(gone)) if gone else [])


def _setting(base: Knowledge, setting: Setting) -> list[str]:
    from diagnose.views.setting import tolerance_lines

    lines = tolerance_lines(setting)
    for side, cause in (("Too low", setting.too_low), ("Too high", setting.too_high)):
        if cause:
            lines += _labelled(side, f"{base.causes[cause].name} [{cause}]")
    if setting.moves:
        moved = ", ".join(base.settings[name].name for name in setting.moves)
        lines += _labelled("Moves with it", moved)
    return lines + (_labelled("Note", setting.note) if setting.note else [])


def _shows(base: Knowledge, name: str, rule: Shows) -> list[str]:
    target = base.links.spoken[name].target
    item = base.mechanisms.get(target) or base.causes[target]
    lines = _labelled("When", item.name)
    lines += _labelled("You see", _answers(base, name, rule))
    if rule.against:
        answers = base.signs[base.links.spoken[name].sign].answers
        lines += _labelled("Against", "; ".join(answers[answer] for answer in rule.against))
    return lines + _labelled("Why", rule.why)


def report_lines(base: Knowledge, report: Report) -> list[str]:
    """The outcome of the proofs; faults themselves are told as errors."""
    rules = len(base.shows) + len(base.means)
    lines = wrapped(
        f"{count(rules, 'rule')}, {count(len(base.causes), 'cause')}, "
        f"{count(len(base.checks), 'check')}, {count(len(base.signs), 'sign')}: "
        f"{count(report.bales, 'bale')} run, {count(len(report.faults), 'fault')}."
    )
    if not report.faults:
        lines += wrapped(
            "Proved: every id, basis and word is known; no cycle; nothing unreachable; every "
            "cause but something else has a check that confirms it; every rule speaks for its "
            "target, and follows from nothing less than it says."
        )
    lines += _pairs("No question tells these apart, a check does:", report.look_alikes)
    return lines + _pairs("Nothing tells these apart:", report.inseparable)


def _pairs(title: str, pairs: tuple[tuple[str, str], ...]) -> list[str]:
    if not pairs:
        return wrapped(f"{title} none.")
    return [*wrapped(title), *(f"  {one} and {other}" for one, other in pairs)]


def report_data(report: Report) -> dict[str, Any]:
    return {
        "bales": report.bales,
        "faults": [str(fault) for fault in report.faults],
        "look_alikes": [list(pair) for pair in report.look_alikes],
        "inseparable": [list(pair) for pair in report.inseparable],
    }


MOST_MOVED = 12
"""So many moved bales and cases are told; JSON tells all."""


def moved_lines(base: Knowledge, found: tuple[Moved, ...], against: str) -> list[str]:
    """What a change has moved, worst first."""
    if not found:
        return wrapped(f"Moved against {against}: nothing.")
    bales = sum(one.kind == "bale" for one in found)
    parts = [(bales, "bale"), (len(found) - bales, "solved case")]
    told = " and ".join(count(n, what) for n, what in parts if n)
    lines = wrapped(f"Moved against {against}: {told}, worst first.")
    for one in found[:MOST_MOVED]:
        cause = base.causes[one.cause].name if one.cause in base.causes else one.cause
        lines += wrapped(f"{cause}: {one.name}", 2)
        now = _stood(one.now) if one.now else "not known to these rules any more"
        lines += wrapped(f"was {_stood(one.was)}; is {now}", 4)
    left = len(found) - MOST_MOVED
    return lines + ([f"  and {left} more; --json tells all"] if left > 0 else [])


def _stood(stood: Stood) -> str:
    if stood.rank == 1:
        return f"first, {times_text(stood.odds)} times the next"
    return f"number {stood.rank}, {times_text(stood.odds)} times the first"


def moved_data(found: tuple[Moved, ...]) -> list[dict[str, Any]]:
    return [
        {
            one.kind: one.name,
            "cause": one.cause,
            "was": vars(one.was),
            "is": vars(one.now) if one.now else None,
        }
        for one in found
    ]


def scaffold(base: Knowledge, name: str) -> str:
    """A new rule as YAML, to be filled in where it says so. Raises InputError."""
    if name in base.shows or name in base.means:
        raise InputError(f"the rule '{name}' is there already; see: diagnose rules show {name}")
    target, slash, sign = name.partition("/")
    if not slash:
        return _scaffold_means(name)
    targets = [*base.mechanisms, *base.causes]
    if target not in targets:
        raise InputError(f"unknown mechanism or cause '{target}'{nearest(target, targets)}")
    if sign not in base.signs:
        raise InputError(f"unknown sign '{sign}'{nearest(sign, base.signs)}")
    answers = list(base.signs[sign].answers)
    return f"""\
  {name}:
    # Answers: {", ".join(answers)}
    # Words: {", ".join(base.words)}
    answers: {{{answers[0]}: usually}}
    basis: judgement
    why: Say in one sentence what makes it look so."""


def _scaffold_means(name: str) -> str:
    return f"""\
  {name}:
    if: {{SIGN: ANSWER, OTHER_SIGN: ANSWER}}
    then: {{SIGN: ANSWER}}
    basis: judgement
    why: Say in one sentence why it follows."""


def append_rule(path: Path, text: str) -> None:
    """Put a new rule at the end of a file whose last part is `rules:`, or begin that part."""
    from diagnose.files import write_whole
    from diagnose.knowledge.yaml_file import read_yaml

    if not path.exists():
        write_whole(path, f"rules:\n{text}\n")
        return
    data = read_yaml(path).data or {}
    if "rules" in data and list(data)[-1] != "rules":
        raise InputError(
            "'rules:' is not the last part of this file; paste the rule in", Place(path)
        )
    head = "" if "rules" in data else "\nrules:\n"
    old = path.read_text(encoding="utf-8").rstrip("\n")
    write_whole(path, f"{old}\n{head}\n{text}\n")
