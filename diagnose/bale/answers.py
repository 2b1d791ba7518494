"""What was typed, turned into events. Pure; raises InputError with what to type instead."""

from __future__ import annotations

import re

from diagnose.case import Checked, Counted, Event, Failed, Mended, Proved, Reading, Seen
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.units import convert, parse_quantity
from diagnose.session import Step
from diagnose.views.step import result_said, results

ECHO = 40
"""So much of what was typed is said back in a message."""
LISTED = 4
_BY_KNOTTER = re.compile(r"(\d{1,2})\s*=\s*([^=]+?)(?=\s+\d{1,2}\s*=|$)")
_ARROW = re.compile(r"\s*(?:->|=>|→|\bto\b)\s*")


def check_answers(base: Knowledge, check: str) -> dict[str | None, str]:
    """Results that can be chosen: nothing wrong (None), or one of the causes it confirms."""
    return {result.cause: str(result_said(result)) for result in results(base, check)}


def events_from(base: Knowledge, step: Step, typed: str) -> list[Event]:
    """The events a typed answer to a step stands for."""
    text = typed.strip()
    match step.kind:
        case "ask":
            return _seen(base, step, text)
        case "check":
            return _checked(base, step, text)
        case "mend":
            return [_mended(base, step, text)]
        case "prove":
            return _proved(step, text)
    raise InputError("nothing is asked here")


def choose(options: dict[str, str], text: str) -> tuple[str, ...]:
    """One option, or several joined by `/` (one of these), by number, id, or words of its text."""
    return tuple(dict.fromkeys(_one(options, part.strip()) for part in text.split("/")))


def _one(options: dict[str, str], text: str) -> str:
    names = list(options)
    if text.isdigit():
        if 1 <= int(text) <= len(names):
            return names[int(text) - 1]
        raise InputError(f"there is no {text} here; type 1 to {len(names)}, or words of an answer")
    wanted = text.lower()
    if wanted in options:
        return wanted
    if len(wanted) == 1 and wanted not in options:
        raise InputError(f"'{text}' is too short; type 1 to {len(names)}, or more of its words")
    if not wanted:
        raise InputError(f"nothing typed; type 1 to {len(names)}, or words of an answer")
    shown = text if len(text) <= ECHO else f"{text[:ECHO]}..."
    words = wanted.split()
    for matches in (
        [name for name in names if options[name].lower() == wanted],
        [name for name in names if options[name].lower().startswith(wanted)],
        [name for name in names if wanted in options[name].lower()],
        [name for name in names if all(word in options[name].lower() for word in words)],
    ):
        if len(matches) == 1:
            return matches[0]
        if matches:
            listed = ", ".join(f"{names.index(m) + 1} {options[m]}" for m in matches[:LISTED])
            more = " and more" if len(matches) > LISTED else ""
            raise InputError(f"'{shown}' may mean {listed}{more}; type the number")
    raise InputError(f"'{shown}' is not among the answers; type 1 to {len(names)}, or its words")


def _knotter(text: str, knotters: int = 12) -> int:
    if not 1 <= int(text) <= knotters:
        raise InputError(f"there is no knotter {text}")
    return int(text)


def _seen(base: Knowledge, step: Step, text: str) -> list[Event]:
    sign = step.id
    answers, whole = dict(base.signs[sign].answers), base.signs[sign].scope == "bale"
    if "=" not in text:
        return [Seen(sign=sign, answers=choose(answers, text), knotter=step.knotter)]
    pairs = _BY_KNOTTER.findall(text)
    if not pairs or whole:
        raise InputError(
            "type KNOTTER=ANSWER for each, such as 3=2 5=4"
            if not whole
            else "this is one answer for the whole bale; type its number"
        )
    return [
        Seen(sign=sign, answers=choose(answers, answer), knotter=_knotter(knotter))
        for knotter, answer in pairs
    ]


def _checked(base: Knowledge, step: Step, text: str) -> list[Event]:
    """A number from the list; for a measured setting also the reading, by knotter if wanted."""
    found = {name or "clear": label for name, label in check_answers(base, step.id).items()}
    if step.setting and not (text.isdigit() and 1 <= int(text) <= len(found)):
        readings = _readings(base, step, step.setting, text)
        if readings:
            return readings
    if "=" in text and step.setting is None:
        pairs = _BY_KNOTTER.findall(text)
        return [
            Checked(check=step.id, found=_found(found, answer), knotter=_knotter(knotter))
            for knotter, answer in pairs
        ]
    try:
        return [Checked(check=step.id, found=_found(found, text), knotter=step.knotter)]
    except InputError:
        if step.setting:
            raise InputError(
                f"'{text}' is no reading and no result; type the reading with its unit, such as "
                f"{base.settings[step.setting].nominal:g} {base.settings[step.setting].unit}, or "
                f"1 to {len(found)}"
            ) from None
        raise


def _found(results: dict[str, str], text: str) -> str | None:
    chosen = choose(results, text)
    if len(chosen) > 1:
        raise InputError("type one result; a check that leaves two open is not done yet")
    return None if chosen[0] == "clear" else chosen[0]


def _readings(base: Knowledge, step: Step, setting: str, text: str) -> list[Event]:
    pairs: list[tuple[str | None, str]] = [*_BY_KNOTTER.findall(text)] or [(None, text)]
    if not any(character.isdigit() for character in text):
        return []
    readings: list[Event] = []
    for knotter, value in pairs:
        quantity = parse_quantity(value.rstrip("! "))
        convert(quantity.value, quantity.unit, base.settings[setting].unit)
        readings.append(
            Reading(
                setting=setting,
                value=quantity.value,
                unit=quantity.unit,
                knotter=_knotter(knotter) if knotter else step.knotter,
            )
        )
    return readings


def _mended(base: Knowledge, step: Step, text: str) -> Event:
    """Nothing typed or `done`: it is set. Else `31.5 -> 33 mm`: from what to what."""
    if text.lower() in ("", "done", "y", "yes"):
        return Mended(cause=step.id, knotter=step.knotter)
    if step.setting is None:
        raise InputError("press Enter when it is done")
    parts = _ARROW.split(text)
    unit = base.settings[step.setting].unit
    after = parse_quantity(parts[-1], unit)
    mended = Mended(
        cause=step.id, knotter=step.knotter, setting=step.setting, after=after.value,
        unit=after.unit,
    )  # fmt: skip
    if len(parts) == 1:
        return mended
    before = parse_quantity(parts[0], after.unit)
    value = convert(before.value, before.unit, after.unit)
    return mended.model_copy(update={"before": value})


_PROOF = re.compile(r"(?:(\d+)\s*)?(ok|f(?:ailed(?: again)?)?)?((?:[\s,]+\d{1,2})*)")


def _proved(step: Step, text: str) -> list[Event]:
    """`59`: so many clean bales; `f`, `12 f`, `12 f 5`: it failed again, after 12, at knotter 5.

    What failed at one knotter clears nothing at another, where the clean bales count on.
    """
    match = _PROOF.fullmatch(text.strip().lower())
    bales, word, at = match.groups() if match else (None, None, "")
    kept = word in (None, "ok")
    if not match or (kept and (at or not bales)):
        raise InputError("type how many bales were clean, such as 59; or f if it failed again")
    clean = int(bales or 0)
    if kept:
        return [
            Proved(cause=p.cause, knotter=p.knotter, clean_ties=clean * p.a_bale, failed=False)
            for p in step.proofs
        ]
    knotters = [_knotter(number) for number in re.findall(r"\d+", at)]
    if not knotters and len(step.proofs) > 1:
        raise InputError("type f and the knotter where it failed, such as f 5")
    return _failed(step, clean, knotters)


def _failed(step: Step, clean: int, knotters: list[int]) -> list[Event]:
    """What stands at other knotters counts on; one where nothing was set right fails anew."""
    counted: list[Event] = []
    failed: list[Event] = []
    new = dict.fromkeys(knotters)
    for cause, knotter, a_bale, ties in step.proofs:
        trials = clean * a_bale
        alone = ties == (None,) or not knotters
        hit: list[int | None] = [k for k in knotters if alone or k in ties]
        if not knotters:
            hit = [knotter]
        failed += [Proved(cause=cause, knotter=k, clean_ties=trials, failed=True) for k in hit]
        left = [] if alone else [k for k in ties if k not in hit]
        at = [knotter] if knotter in left else left
        counted += [Counted(cause=cause, knotter=k, clean_ties=trials) for k in at]
        new = {k: None for k in new if k not in hit}
    return [*counted, *failed, *(Failed(knotter=k) for k in new)]
