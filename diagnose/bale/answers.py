"""What was typed, turned into events. Pure; raises InputError with what to type instead."""

from __future__ import annotations

import re

from diagnose.bale.wording import check_answers
from diagnose.case import Checked, Event, Mended, Proved, Reading, Seen
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.session import Step
from diagnose.units import convert, parse_quantity

ECHO = 40
"""So much of what was typed is said back in a message."""
LISTED = 4
_BY_KNOTTER = re.compile(r"(\d{1,2})\s*=\s*([^=]+?)(?=\s+\d{1,2}\s*=|$)")
_ARROW = re.compile(r"\s*(?:->|=>|→|\bto\b)\s*")


def events_from(base: Knowledge, step: Step, typed: str) -> list[Event]:
    """The events a typed answer to a step stands for."""
    text = typed.strip()
    match step.kind:
        case "ask":
            return _seen(base, step.id, text)
        case "check":
            return _checked(base, step, text)
        case "mend":
            return [_mended(base, step, text)]
        case "prove":
            return [_proved(step, text)]
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


def _seen(base: Knowledge, sign: str, text: str) -> list[Event]:
    answers = dict(base.signs[sign].answers)
    if "=" not in text:
        return [Seen(sign=sign, answers=choose(answers, text))]
    pairs = _BY_KNOTTER.findall(text)
    if not pairs or base.signs[sign].scope != "tie":
        raise InputError(
            "type KNOTTER=ANSWER for each, such as 3=2 5=4"
            if base.signs[sign].scope == "tie"
            else "this is one answer for the whole bale; type its number"
        )
    return [
        Seen(sign=sign, answers=choose(answers, answer), knotter=_knotter(knotter))
        for knotter, answer in pairs
    ]


def _checked(base: Knowledge, step: Step, text: str) -> list[Event]:
    """A number from the list; for a measured setting also the reading, by knotter if wanted."""
    results = {name or "clear": label for name, label in check_answers(base, step.id).items()}
    if step.setting and not (text.isdigit() and 1 <= int(text) <= len(results)):
        readings = _readings(base, step.setting, text)
        if readings:
            return readings
    if "=" in text and step.setting is None:
        pairs = _BY_KNOTTER.findall(text)
        return [
            Checked(check=step.id, found=_found(results, answer), knotter=_knotter(knotter))
            for knotter, answer in pairs
        ]
    try:
        return [Checked(check=step.id, found=_found(results, text))]
    except InputError:
        if step.setting:
            raise InputError(
                f"'{text}' is no reading and no result; type the reading with its unit, such as "
                f"{base.settings[step.setting].nominal:g} {base.settings[step.setting].unit}, or "
                f"1 to {len(results)}"
            ) from None
        raise


def _found(results: dict[str, str], text: str) -> str | None:
    chosen = choose(results, text)
    if len(chosen) > 1:
        raise InputError("type one result; a check that leaves two open is not done yet")
    return None if chosen[0] == "clear" else chosen[0]


def _readings(base: Knowledge, setting: str, text: str) -> list[Event]:
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
                knotter=_knotter(knotter) if knotter else None,
            )
        )
    return readings


def _mended(base: Knowledge, step: Step, text: str) -> Event:
    """Nothing typed or `done`: it is set. Else `31.5 -> 33 mm`: from what to what."""
    if text.lower() in ("", "done", "y", "yes"):
        return Mended(cause=step.id)
    if step.setting is None:
        raise InputError("press Enter when it is done")
    parts = _ARROW.split(text)
    unit = base.settings[step.setting].unit
    after = parse_quantity(parts[-1], unit)
    if len(parts) == 1:
        return Mended(cause=step.id, setting=step.setting, after=after.value, unit=after.unit)
    before = parse_quantity(parts[0], after.unit)
    value = convert(before.value, before.unit, after.unit)
    return Mended(
        cause=step.id, setting=step.setting, before=value, after=after.value, unit=after.unit
    )


def _proved(step: Step, text: str) -> Event:
    lowered = text.lower()
    if lowered in ("f", "failed", "failed again"):
        return Proved(cause=step.id, clean_ties=0, failed=True)
    match = re.fullmatch(r"(\d+)(?:\s*(f|failed|ok))?", lowered)
    if not match:
        raise InputError("type how many bales were clean, such as 59; or f if it failed again")
    failed = (match[2] or "ok") != "ok"
    return Proved(cause=step.id, clean_ties=int(match[1]) * step.a_bale, failed=failed)
