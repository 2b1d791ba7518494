"""Every id named in the rule base exists, and every figure is possible. Yields all faults."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from diagnose.errors import nearest
from diagnose.knowledge.model import Bale, Knowledge, Known
from diagnose.knowledge.roles import played

Fault = tuple[str, tuple[Any, ...], str]
"""`kind:id`, the key path inside it, and what is wrong."""

GRADES = ("low", "in", "high")
SUM_SLACK = 1.0005
"""Words of one rule may add up to this; above it they cannot all be true."""


def wrong_references(base: Knowledge) -> Iterator[Fault]:
    """All faults that only show when the files are seen together."""
    yield from _bases(base)
    yield from _roles(base)
    yield from _codes(base)
    yield from _setups(base)
    yield from _signs(base)
    yield from _causes(base)
    yield from _checks_and_settings(base)
    yield from _shows(base)
    yield from _means(base)


def _unknown(kind: str, name: str, known: Iterable[str]) -> str:
    return f"unknown {kind} '{name}'{nearest(name, known)}"


def _bases(base: Knowledge) -> Iterator[Fault]:
    for kind in ("cautions", "setups", "moves", "mechanisms", "signs", "settings", "causes",
                 "checks", "shows", "means", "codes"):  # fmt: skip
        for name, item in getattr(base, kind).items():
            for attribute in ("basis", "band_basis"):
                basis = getattr(item, attribute, None)
                if basis and basis.kind == "published" and basis.source not in base.sources:
                    known = [*base.sources, "common practice", "judgement"]
                    yield f"{kind}:{name}", (attribute,), _unknown("basis", basis.source, known)


def _roles(base: Knowledge) -> Iterator[Fault]:
    """Each role names an item of its kind; an answer, one of its group's sign."""
    for path, kind, name, sign in played(base.roles):
        if kind != "answers":
            known: Iterable[str] = getattr(base, kind)
        elif sign in base.signs:
            known = base.signs[sign].answers
        else:
            continue  # told of the sign
        if name not in known:
            of = f"answer of '{sign}'" if kind == "answers" else kind.removesuffix("s")
            yield "roles", path, _unknown(of, name, known)
    safe = base.cautions.get(base.roles.make_safe)
    if safe and not safe.confirm:
        what = f"'{base.roles.make_safe}' is made safe first, so it needs a 'confirm'"
        yield f"cautions:{base.roles.make_safe}", (), what
    yield from _rates(base)


def _rates(base: Knowledge) -> Iterator[Fault]:
    """Every answer of how often has its rate, and nothing else has."""
    name = base.roles.often.sign
    answers = base.signs[name].answers if name in base.signs else {}
    for table in ("failure_rates", "often_limits"):
        for answer in getattr(base.base, table):
            if answers and answer not in answers:
                yield "base", (table, answer), _unknown(f"answer of '{name}'", answer, answers)
    missing = [answer for answer in answers if answer not in base.base.failure_rates]
    if missing:
        yield "base", ("failure_rates",), f"no rate for {', '.join(missing)}"


def fault_codes(base: Knowledge) -> list[str]:
    """The codes that say something of a tie, a bale or a change; a bale's count is no such."""
    return [name for name, code in base.codes.items() if code.kind != "count"]


def _codes(base: Knowledge) -> Iterator[Fault]:
    since = base.signs.get(base.roles.since.sign)
    for name, code in base.codes.items():
        if code.finds is not None and code.finds not in base.causes:
            yield f"codes:{name}", ("finds",), _unknown("cause", code.finds, base.causes)
        if code.marks is not None and since and code.marks not in since.answers:
            of = f"answer of '{base.roles.since.sign}'"
            yield f"codes:{name}", ("marks",), _unknown(of, code.marks, since.answers)


def _setups(base: Knowledge) -> Iterator[Fault]:
    starts = [name for name, setup in base.setups.items() if setup.start]
    if len(starts) != 1:
        first = f"setups:{next(iter(base.setups), '')}"
        yield first, (), f"exactly one setup has 'start: true', here {len(starts)} have it"
    for name, move in base.moves.items():
        for place in move.between:
            if place not in base.setups:
                yield f"moves:{name}", ("between",), _unknown("setup", place, base.setups)
    for kind in ("setups", "signs", "causes", "checks"):
        for name, item in getattr(base, kind).items():
            for caution in item.cautions:
                if caution not in base.cautions:
                    yield (
                        f"{kind}:{name}",
                        ("cautions",),
                        _unknown("caution", caution, base.cautions),
                    )
    for name, caution in base.cautions.items():
        for undone in caution.undoes:
            if undone not in base.cautions:
                what = _unknown("caution", undone, base.cautions)
                yield f"cautions:{name}", ("undoes",), what
    for kind in ("setups", "signs", "checks"):
        for name, item in getattr(base, kind).items():
            for sign in item.destroys:
                if sign not in base.signs:
                    yield f"{kind}:{name}", ("destroys",), _unknown("sign", sign, base.signs)
    for name, check in base.checks.items():
        setting = base.settings.get(check.setting or "")
        if setting and setting.per != check.per:
            what = f"'{check.setting}' is of a {setting.per}, so its check is 'per: {setting.per}'"
            yield f"checks:{name}", ("per",), what
    for kind in ("signs", "checks"):
        for name, item in getattr(base, kind).items():
            if item.setup not in base.setups:
                yield f"{kind}:{name}", ("setup",), _unknown("setup", item.setup, base.setups)


def _signs(base: Knowledge) -> Iterator[Fault]:
    for name, sign in base.signs.items():
        yield from _answer_words(base, f"signs:{name}", "usual", name, sign.usual)
        for answer in sign.drawn:
            if answer not in sign.answers:
                of = f"answer of '{name}'"
                yield f"signs:{name}", ("drawn", answer), _unknown(of, answer, sign.answers)


def _causes(base: Knowledge) -> Iterator[Fault]:
    for name, cause in base.causes.items():
        key = f"causes:{name}"
        yield from _words(base, key, ("common",), [cause.common])
        yield from _words(base, key, ("leads",), cause.leads.values())
        for mechanism in cause.leads:
            if mechanism not in base.mechanisms:
                yield key, ("leads", mechanism), _unknown("mechanism", mechanism, base.mechanisms)
        for again in cause.again:
            if again not in base.settings and again not in base.checks:
                yield (
                    key,
                    ("again",),
                    _unknown("setting or check", again, [*base.settings, *base.checks]),
                )
        for bale, told in cause.bales.items():
            yield from _bale(base, key, ("bales", bale), told)


def _bale(base: Knowledge, key: str, path: tuple[Any, ...], told: Bale) -> Iterator[Fault]:
    for sign in (sign for sign in told.seen if sign not in base.signs):
        yield key, (*path, "seen", sign), _unknown("sign", sign, base.signs)
    known = {sign: given for sign, given in told.seen.items() if sign in base.signs}
    yield from _evidence(base, key, (*path, "seen"), known)
    for code in told.codes:
        if code not in fault_codes(base):
            yield key, (*path, "codes"), _unknown("code", code, fault_codes(base))
    for setting in told.readings:
        if setting not in base.settings:
            at = (*path, "readings", setting)
            yield key, at, _unknown("setting", setting, base.settings)


def _checks_and_settings(base: Knowledge) -> Iterator[Fault]:
    for name, check in base.checks.items():
        key = f"checks:{name}"
        yield from _words(base, key, ("confirms",), check.confirms.values())
        for cause in check.confirms:
            if cause not in base.causes:
                yield key, ("confirms", cause), _unknown("cause", cause, base.causes)
        if check.setting is not None and check.setting not in base.settings:
            yield key, ("setting",), _unknown("setting", check.setting, base.settings)
        first = base.links.check_of.get(check.setting or "", name)
        if first != name:
            yield key, ("setting",), f"'{check.setting}' is measured by '{first}' already"
    measured = {check.setting: check for check in base.checks.values() if check.setting}
    for name, setting in base.settings.items():
        key = f"settings:{name}"
        low, high = setting.band
        if not low <= setting.nominal <= high or low >= high:
            yield key, ("band",), f"the nominal {setting.nominal:g} does not lie in {setting.band}"
        for moved in setting.moves:
            if moved not in base.settings:
                yield key, ("moves",), _unknown("setting", moved, base.settings)
        if name not in measured:
            yield key, (), f"no check measures '{name}'"
        for side in ("too_low", "too_high"):
            cause = getattr(setting, side)
            if cause is None:
                continue
            if cause not in base.causes:
                yield key, (side,), _unknown("cause", cause, base.causes)
            elif name in measured and cause not in measured[name].confirms:
                yield key, (side,), f"'{cause}' is not among what the check of '{name}' confirms"


def _shows(base: Knowledge) -> Iterator[Fault]:
    for name, rule in base.shows.items():
        key = f"shows:{name}"
        target, _, sign = name.partition("/")
        if target not in base.mechanisms and target not in base.causes:
            yield key, (), _unknown("mechanism or cause", target, [*base.mechanisms, *base.causes])
        if sign not in base.signs:
            yield key, (), _unknown("sign", sign, base.signs)
            continue
        yield from _answer_words(base, key, "answers", sign, rule.answers)
        for answer in rule.against:
            if answer not in rule.answers:
                what = _unknown("answer of this rule", answer, rule.answers)
                yield key, ("against",), what


def _answer_words(
    base: Knowledge, key: str, at: str, sign: str, words: Mapping[str, str]
) -> Iterator[Fault]:
    answers = base.signs[sign].answers
    for answer in words:
        if answer not in answers:
            yield key, (at, answer), _unknown(f"answer of '{sign}'", answer, answers)
    yield from _words(base, key, (at,), words.values())
    total = sum(base.words.get(word, 0.0) for word in words.values())
    if total > SUM_SLACK:
        yield key, (at,), f"the words add up to {total:.3f}, more than every time"


def _means(base: Knowledge) -> Iterator[Fault]:
    for name, rule in base.means.items():
        key = f"means:{name}"
        yield from _evidence(base, key, ("if",), rule.if_)
        yield from _evidence(base, key, ("unless",), rule.unless)
        yield from _evidence(base, key, ("then",), dict(rule.then))


def _words(
    base: Knowledge, key: str, path: tuple[Any, ...], words: Iterable[str]
) -> Iterator[Fault]:
    for word in words:
        if word not in base.words:
            yield key, path, _unknown("word", word, base.words)


def _evidence(base: Knowledge, key: str, path: tuple[Any, ...], evidence: Known) -> Iterator[Fault]:
    for sign, given in evidence.items():
        answers = [given] if isinstance(given, str) else given
        if sign == "code":
            kind, known = "code", fault_codes(base)
        elif sign.startswith("grade."):
            kind, known = "grade", list(GRADES)
            if sign[6:] not in base.settings:
                yield key, (*path, sign), _unknown("setting", sign[6:], base.settings)
        elif sign in base.signs:
            kind, known = f"answer of '{sign}'", list(base.signs[sign].answers)
        else:
            yield key, (*path, sign), _unknown("sign", sign, base.signs)
            continue
        for answer in answers:
            if answer not in known:
                yield key, (*path, sign), _unknown(kind, answer, known)
