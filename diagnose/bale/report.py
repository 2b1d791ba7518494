"""A diagnosis for other machines to read: plain data, ready for JSON."""

from __future__ import annotations

from typing import Any

from diagnose.knowledge.item import Basis
from diagnose.knowledge.model import Knowledge
from diagnose.session import Diagnosis, Step, Suspect
from diagnose.session.diagnosis import Reason
from diagnose.session.proof import by_luck


def diagnosis_data(base: Knowledge, diagnosis: Diagnosis) -> dict[str, Any]:
    """Suspects, next step, cleared causes, contradictions, and on what it rests."""
    return {
        "case": diagnosis.case.id,
        "rules": base.version,
        "rules_digest": base.digest,
        "confirmed_cases": diagnosis.confirmed_cases,
        "known": {sign: list(a) for sign, a in diagnosis.known.evidence.answers.items()},
        "suspects": [_suspect(base, suspect) for suspect in diagnosis.suspects],
        **_by_knotter(base, diagnosis),
        "next_step": step_data(base, diagnosis.step),
        "cleared": [{"cause": cause, "by": by} for cause, by in diagnosis.cleared],
        "contradictions": [
            {"told": c.told, "rule": c.rule, "because": list(c.because)}
            for c in diagnosis.known.contradictions
        ],
        "doubtful_readings": [
            {"setting": d.setting, "cause": d.cause} for d in diagnosis.known.doubtful
        ],
        "lost": _lost(base, diagnosis),
        "standings": {word: text for word, (_, text) in base.standings.items()},
    }


def _by_knotter(base: Knowledge, diagnosis: Diagnosis) -> dict[str, Any]:
    """Where several knotters fail: whether one cause is behind all, and each one's own standing."""
    if diagnosis.reasoned.one_cause is None:
        return {}
    repaired = diagnosis.reasoned.findings.repaired
    ties = []
    for tie in diagnosis.known.ties:
        repair = repaired[tie.knotter]
        ties.append({
            "knotter": tie.knotter,
            "known": {sign: list(answers) for sign, answers in tie.evidence.answers.items()},
            "set_right": repair.cause if repair else None,
            "suspects": [_suspect(base, s) for s in diagnosis.by_knotter[tie.knotter or 0]],
        })  # fmt: skip
    return {"one_cause": round(diagnosis.reasoned.one_cause, 6), "knotters": ties}


def _lost(base: Knowledge, diagnosis: Diagnosis) -> list[str]:
    """Signs that nobody can look at any more at some failing tie."""
    state = diagnosis.known.state
    return [sign for sign in base.signs if any(state.is_lost(sign, k) for k in state.ties)]


def step_data(base: Knowledge, step: Step) -> dict[str, Any]:
    """One step; minutes rounded to hundredths, what does not apply left out."""
    data: dict[str, Any] = {"id": step.id, "kind": step.kind, "basis": step.basis}
    for name in ("minutes", "way", "expected", "saves", "finds", "rate"):
        value = getattr(step, name)
        if value is not None:
            data[name] = round(value, 4)
    if step.kind == "ask":
        data |= {"ask": base.signs[step.id].ask, "answers": dict(base.signs[step.id].answers)}
    if step.kind == "check":
        data |= {"do": base.checks[step.id].do, "confirms": list(base.checks[step.id].confirms)}
    if step.kind == "mend":
        data["mend"] = base.causes[step.id].mend
    if step.knotter:
        data["knotter"] = step.knotter
    if step.before:
        data["before"] = step.before
    if step.setup:
        data["setup"] = step.setup
    if step.setting:
        data["tolerance"] = tolerance_data(base, step.setting)
    data["cautions"] = [{"id": name, "first": base.cautions[name].first} for name in step.cautions]
    if step.measure_again:
        data["measure_again"] = list(step.measure_again)
    if step.trials is not None and step.rate is not None:
        trial, luck = base.causes[step.id].trial, by_luck(step.rate, step.trials)
        data |= {"trial": trial, "trials": step.trials, "bales": step.bales}
        data["by_luck"] = round(luck, 4)
        data["proves"] = [{"cause": p.cause, "knotter": p.knotter} for p in step.proofs]
    return data


def tolerance_data(base: Knowledge, setting: str) -> dict[str, Any]:
    body = base.settings[setting]
    return {
        "setting": setting,
        "nominal": body.nominal,
        "band": list(body.band),
        "unit": body.unit,
        "example": body.example,
        "basis": _basis(body.basis),
        "band_basis": _basis(body.band_basis),
    }


def _basis(basis: Basis) -> dict[str, Any]:
    return {"kind": basis.kind, "source": basis.source}


def _suspect(base: Knowledge, suspect: Suspect) -> dict[str, Any]:
    return {
        "id": suspect.id,
        "name": base.causes[suspect.id].name,
        "standing": suspect.standing,
        "chance": round(suspect.chance, 6),
        "mechanism": suspect.mechanism,
        "only_one_known": suspect.only_one,
        "because": [_reason(reason) for reason in suspect.because],
        "against": [_reason(reason) for reason in suspect.against],
    }


def _reason(reason: Reason) -> dict[str, Any]:
    return {
        "rule": reason.source,
        "what": reason.what,
        "why": reason.why,
        "decibans": round(reason.decibans, 2),
    }
