"""What has drifted between two sheets, for a person."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from diagnose.machine.tolerance import band_called
from diagnose.machine.units import shown
from diagnose.say.text import columns
from diagnose.sheet.compare import Drift
from diagnose.sheet.model import Sheet
from diagnose.sheet.text import place_name


def drift_lines(before: Sheet, drifts: list[Drift], *, inches: bool = False) -> Iterator[str]:
    """Drifted cells first, the soonest to leave its band at the top; then the rest in a line."""
    since = f" since {before.date}" if before.date else " since the earlier sheet"
    moved = [drift for drift in drifts if drift.drifted and not drift.set_between]
    moved.sort(key=lambda drift: drift.left or (float("inf"), 0.0))
    yield ""
    yield f"Drifted{since}" if moved else f"Nothing drifted{since}"
    for drift in moved:
        yield from _wrapped(f"- {_drift(drift, inches=inches)}")
    for drift in drifts:
        if drift.set_between:
            where = place_name(drift.setting, drift.knotter)
            yield from _wrapped(f"- {where}: {_change(drift, inches=inches)}; set in between.")
    same = sum(not drift.drifted for drift in drifts)
    yield from _wrapped(f"{same} of {len(drifts)} changed by no more than the gauges can tell.")
    if any(drift.rate for drift in moved):
        yield from _wrapped(
            "Taken as even wear over the bales between the two sheets; the range is what "
            "the gauges leave open."
        )
    elif moved:
        yield from _wrapped(
            "Wear per thousand bales not known: write the bale counter on both sheets (bales:)."
        )


def _drift(drift: Drift, *, inches: bool) -> str:
    where = place_name(drift.setting, drift.knotter)
    text = f"{where}: {_change(drift, inches=inches)}"
    if drift.rate is None or drift.left is None:
        return f"{text}."
    rate = shown(drift.rate, drift.setting.unit, inches=inches, places=2)
    text = f"{text}, {rate} per thousand bales"
    limit = shown(drift.limit, drift.setting.unit, inches=inches)
    if drift.thousand_bales_left(drift.rate) == 0:
        return f"{text}; it has left {band_called(drift.setting)} ({limit})."
    soon, late = drift.left
    about = drift.thousand_bales_left(drift.rate)
    span = f"{_bales(soon)} to {_bales(late)}"
    leaves = f"leaves {band_called(drift.setting)} ({limit})"
    return f"{text}; {leaves} in about {_bales(about)} bales ({span})."


def _change(drift: Drift, *, inches: bool) -> str:
    before, after = (
        shown(value, drift.setting.unit, inches=inches) for value in (drift.before, drift.after)
    )
    return f"{before.split()[0]} -> {after}"


def _bales(thousands: float) -> str:
    """Two figures are all that such a forecast carries."""
    return f"{float(f'{thousands * 1000:.2g}'):,.0f}".replace(",", " ")


def _wrapped(text: str) -> list[str]:
    return fill(text, columns(), subsequent_indent="  ").splitlines()
