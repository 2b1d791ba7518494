"""A sheet's findings and its drift as plain data for `--json`. Values in the setting's unit."""

from __future__ import annotations

from typing import Any

from diagnose.machine.adjustment import Adjustment
from diagnose.sheet.assess import Findings, cause_of
from diagnose.sheet.compare import Drift


def findings_data(findings: Findings) -> dict[str, Any]:
    """Every cell with its grade, and what to do in which order."""
    sheet = findings.sheet
    return {
        "machine": sheet.machine,
        "date": sheet.date.isoformat() if sheet.date else None,
        "bales": sheet.bales,
        "knotters": findings.knotters,
        "cells": [
            {"setting": name, "knotter": knotter, **_cell(findings, found)}
            for (name, knotter), found in findings.cells.items()
        ],
        "to_set": [_key(cell) for cell in findings.to_set],
        "on_limit": [_key(cell) for cell in findings.on_limit],
        "measure_again": list(findings.again),
        "asked_back": [
            _key(slip.entry.key)
            | {
                "value": slip.entry.reading.value,
                "unit": slip.entry.reading.unit,
                "meant": slip.meant,
                "why": slip.why,
                "place": str(slip.entry.place),
            }
            for slip in findings.asked
        ],
        "evenness": {
            name: {"median": even.median, "spread": even.spread, "odd": list(even.odd)}
            for name, even in findings.even.items()
        },
    }


def _key(cell: tuple[str, int | None]) -> dict[str, Any]:
    return {"setting": cell[0], "knotter": cell[1]}


def _cell(findings: Findings, found: Adjustment | None) -> dict[str, Any]:
    if found is None:
        return {"grade": "not measured"}
    setting, cause = found.setting, cause_of(findings.knowledge, found)
    data: dict[str, Any] = {
        "grade": found.grade,
        "value": found.value,
        "unit": setting.unit,
        "nominal": setting.nominal,
        "band": list(setting.band),
        "example": setting.example,
        "basis": str(setting.basis),
        "band_basis": str(setting.band_basis),
    }
    if not (found.wanted or found.on_limit):
        return data
    data |= {
        "move": found.move,
        "effect": found.effect,
        "turns": found.turns.exact if found.turns else None,
        "turns_text": str(found.turns) if found.turns else None,
        "per_quarter_turn": found.per_turn / 4 if found.per_turn else None,
        "spring_force": list(found.force) if found.force else None,
        "to_measure": list(found.to_measure),
        "moves": list(setting.moves),
    }
    if cause:
        data["cause"] = setting.too_low if found.move > 0 else setting.too_high
        data["leads_to"] = list(cause.leads)
        data["mend"] = cause.mend
    return data


def drift_data(drifts: list[Drift]) -> list[dict[str, Any]]:
    """Every cell on both sheets."""
    return [
        {
            "setting": drift.setting.name,
            "knotter": drift.knotter,
            "before": drift.before,
            "after": drift.after,
            "unit": drift.setting.unit,
            "uncertainty": drift.uncertainty,
            "drifted": drift.drifted,
            "set_between": drift.set_between,
            "per_thousand_bales": drift.rate,
            "thousand_bales_left": list(drift.left) if drift.left else None,
        }
        for drift in drifts
    ]
