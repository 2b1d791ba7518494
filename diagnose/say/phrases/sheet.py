"""What is said of a measuring sheet: what to set, what stands on a limit, what has drifted."""

from __future__ import annotations

PHRASES: dict[str, str | tuple[str, str]] = {
    "sheet.head": "{parts}",
    "sheet.not_named": "Machine not named",
    "sheet.knotters": "{number} knotters",
    "sheet.names_knotters": "the sheet names {number} knotters",
    "sheet.measured_on": "measured {date}",
    "sheet.counted": "{bales} bales",
    "sheet.sum": "{measured} of {all} measured: {to_set} to set, {on_limit} on the limit, {asked} "
    "asked back.",
    "sheet.asked_back": "Asked back (left out until it is settled)",
    "sheet.slip": "{place}: {where}: {value:g} {unit}. Is {meant:g} {unit} meant ({why})? Mend the "
    "sheet, or write {value:g}! if it is so.",
    "sheet.at_knotter": "{name}, knotter {knotter}",
    "sheet.safe_first": "First make it safe. The machine's own manual goes before this sheet.",
    "sheet.caution": "- {first}",
    "sheet.to_set": "To set, in this order, one change at a time",
    "sheet.number": "{number}. ",
    "sheet.again": "When all is set, measure again: {names}.",
    "sheet.on_limit": "On the limit of its tolerance",
    "sheet.cell": "{where}: {value}, {grade} ({tolerance})",
    "sheet.grade_low": "low",
    "sheet.grade_in": "in tolerance",
    "sheet.grade_high": "high",
    "sheet.grade_low_or_in": "on its lower limit",
    "sheet.grade_in_or_high": "on its upper limit",
    "sheet.grade_low_in_or_high": "not settled, the gauge is coarser than the band",
    "sheet.if_left": "If left: {cause} -> {mechanisms}.",
    "sheet.how": "How: {mend}",
    "sheet.moves": "It moves: {names}.",
    "sheet.tolerance": "{nominal}, {low} to {high}; {basis}",
    "sheet.tolerance_band": "{nominal}, {low} to {high}; {basis}; band {band_basis}",
    "sheet.example": "Not known for your machine. Example: {nominal}, {low} to {high}; {basis}",
    "sheet.example_band": "Not known for your machine. Example: {nominal}, {low} to {high}; "
    "{basis}; band {band_basis}",
    "sheet.uneven": "Uneven across the shaft (modified z-score, Iglewicz and Hoaglin 1993)",
    "sheet.odd": (
        "{name}: spread {spread} about {middle}; knotter {odd} is the odd one.",
        "{name}: spread {spread} about {middle}; knotter {odd} stand out.",
    ),
    "sheet.readings": "All readings (< low, > high, ~ on the limit, ? asked back, - not measured)",
    "sheet.knotter": "knotter",
    "sheet.row": "{name}: {low} to {high} ({basis})",
    "sheet.row_spread": "{name}: {low} to {high} ({basis}), spread {spread}",
    "sheet.row_example": "{name}: Not known for your machine. Example: {low} to {high} ({basis})",
    "sheet.row_example_spread": "{name}: Not known for your machine. Example: {low} to {high} "
    "({basis}), spread {spread}",
    "sheet.not_measured": "Not measured: {names}.",
    "sheet.not_measured_at": "{name} (knotter {knotters})",
    # drift between two sheets
    "sheet.drifted_since": "Drifted since {date}",
    "sheet.drifted": "Drifted since the earlier sheet",
    "sheet.nothing_since": "Nothing drifted since {date}",
    "sheet.nothing_drifted": "Nothing drifted since the earlier sheet",
    "sheet.drift": "- {where}: {before} -> {after}.",
    "sheet.drift_left": "- {where}: {before} -> {after}, {rate} per thousand bales; it has left "
    "its band ({limit}).",
    "sheet.drift_left_example": "- {where}: {before} -> {after}, {rate} per thousand bales; it has "
    "left the example's band ({limit}).",
    "sheet.drift_leaves": "- {where}: {before} -> {after}, {rate} per thousand bales; leaves its "
    "band ({limit}) in about {about} bales ({soon} to {late}).",
    "sheet.drift_leaves_example": "- {where}: {before} -> {after}, {rate} per thousand bales; "
    "leaves the example's band ({limit}) in about {about} bales ({soon} to {late}).",
    "sheet.set_between": "- {where}: {before} -> {after}; set in between.",
    "sheet.same": "{number} of {all} changed by no more than the gauges can tell.",
    "sheet.even_wear": "Taken as even wear over the bales between the two sheets; the range is "
    "what the gauges leave open.",
    "sheet.no_counter": "Wear per thousand bales not known: write the bale counter on both sheets "
    "(bales:).",
}
