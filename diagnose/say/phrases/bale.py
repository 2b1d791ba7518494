"""What is said at one bad bale: steps, suspects, settings, cautions, the record."""

from __future__ import annotations

PHRASES: dict[str, str | tuple[str, str]] = {
    # a step
    "bale.question": "Question {number}   {minutes}",
    "bale.question_away": "Question {number}   {minutes} + {way} to get there",
    "bale.check": "Check {number}   {minutes}",
    "bale.check_away": "Check {number}   {minutes} + {way} to get there",
    "bale.at_knotter": "{place}, knotter {knotter}",
    "bale.one_left": "Knotters that look different: each by its number, such as 2=6 5=1. Knotter 1 "
    "is the left one, seen from the seat; at a bale in the field, look the way the baler drove.",
    "bale.one_right": "Knotters that look different: each by its number, such as 2=6 5=1. Knotter "
    "1 is the right one on this machine, seen from the seat; at a bale in the field, look the way "
    "the baler drove.",
    "bale.set_low": "{value} is still below {low} to {high}. Kept as set.",
    "bale.set_high": "{value} is still above {low} to {high}. Kept as set.",
    "bale.with": "  With: ",
    "bale.needs": "  Needs: ",
    "bale.people": "{people} people.",
    "bale.stand": "  Stand: ",
    "bale.why_now": "  Why now: ",
    "bale.asked_first": "asked first, as every tie begins with it.",
    "bale.counts_on_it": "the proof takes more clean bales, the rarer it failed.",
    "bale.would_destroy": "the step after this one would destroy it.",
    "bale.left": "about {left} still to go.",
    "bale.again": "again, as it was put off or can be overlooked; nothing else is worth more; "
    "about {left} still to go.",
    "bale.saves": "saves about {saves} of checking; about {left} still to go.",
    "bale.finds": "finds the fault in about {share}; about {left} still to go.",
    "bale.in_ten": "{n} in 10",
    "bale.one_in": "1 in {n}",
    "bale.rarer": "fewer than 1 in 1000",
    "bale.nothing_wrong": "nothing wrong here",
    # a setting
    "bale.right_is": "  Right is: ",
    "bale.as_given": "  ",
    "bale.tolerance": "{nominal}, between {low} and {high} ({basis}).",
    "bale.tolerance_band": "{nominal}, between {low} and {high} ({basis}; band: {band_basis}).",
    "bale.example": "Not known for your machine. Example: {nominal}, between {low} and {high} "
    "({basis}).",
    "bale.example_band": "Not known for your machine. Example: {nominal}, between {low} and {high} "
    "({basis}; band: {band_basis}).",
    "bale.manual_first": "The machine's own manual goes before this.",
    "bale.measure": "  Measure: ",
    # cautions
    "bale.caution": "{danger} {first}",
    "bale.as_before": "as before: {names}.",
    "bale.safe_first": "Before anything else: make the machine safe.",
    "bale.safe_done": "Done, and seen to stand still? Type y. (s leaves.)",
    "bale.safe_in_case": "First make the machine safe; then add 'safe: yes' to the case.",
    # suspects
    "bale.now": "Now: ",
    "bale.at": "Knotter {knotter}: ",
    "bale.at_title": "At knotter {knotter}",
    "bale.stands": "{name}: {standing}",
    "bale.stands_number": "{name}: {standing} ({chance:.1%})",
    "bale.all_stand": "{suspects}.",
    "bale.set_right_there": "{name}, set right",
    "bale.one_fault": "One fault behind knotters {knotters}: {standing}.",
    "bale.two_faults": "Knotters {knotters} look different: most likely two faults.",
    "bale.several_faults": "Knotters {knotters} look different: most likely several faults.",
    "bale.and": "{first} and {last}",
    "bale.would_mean": "    would mean: ",
    "bale.note": "    note: ",
    "bale.only_one": "the only cause known here for that, so look twice.",
    "bale.because": "    because: ",
    "bale.against": "    against: ",
    "bale.open": "    open: ",
    "bale.nothing_yet": "nothing yet for or against it.",
    "bale.reason": "{what} [{rule}]",
    "bale.reason_why": "{what} ({why}) [{rule}]",
    "bale.reason_against": "{what} (its rule: {why}) [{rule}]",
    "bale.own_rule": "own rule: {rule}",
    "bale.cleared": "Cleared: ",
    "bale.words": "Words: ",
    "bale.word": "{word}: {text}",
    "bale.no_cases": "Commonness of causes is judgement; no confirmed cases are counted in.",
    "bale.cases": "Commonness of causes rests on {cases} and judgement.",
    # setting right
    "bale.found": "Found: ",
    "bale.cause": "{name}. {why}",
    "bale.cause_at": "{name} at knotter {knotters}. {why}",
    "bale.set_it": "  Set it: ",
    "bale.read": "  Read: ",
    "bale.reading": "{value}. {how}",
    "bale.reading_at": "knotter {knotter}, {value}. {how}",
    "bale.go_through": "  Go through again: ",
    "bale.one_change": "One change at a time.",
    "bale.one_change_then": "One change at a time. Then go through the list again, before you "
    "bale.",
    "bale.mended": "Press Enter when it is done.",
    "bale.mended_figure": "Press Enter when it is done, or type from what to what: ... -> "
    "{nominal:g} {unit}.",
    "bale.mended_example": "Press Enter when it is done, or type from what to what, for example: "
    "... -> {nominal:g} {unit}.",
    "bale.doubt_read": "Read: ",
    "bale.doubtful": "{name}. {tolerance}",
    "bale.on_limit": "On the limit: with this gauge it is neither in nor out, and says nothing "
    "here. Measure with a finer one, or set it to the middle last. The search goes on.",
    "bale.unfit": "That is: {name}. Noted; it does not explain this fault. Set it last, or now: "
    "then both changes are recorded and the proof is of both. The search goes on.",
    "bale.set_too": "Set too: ",
    "bale.proof_of_both": "{names}: the proof is of both.",
    "bale.still_to_set": "Still to set: ",
    "bale.list": "{names}.",
    # the proof
    "bale.set_right": "Set right: ",
    "bale.proof_of_all": "{names}. One proof of all.",
    "bale.proof": "Proof: ",
    "bale.proof_takes": "{bales} in a row, as it failed about {share} before ({basis}). Had "
    "nothing changed, a run like this would come by luck in {luck}.",
    "bale.luck": "{share:.0f} of 100",
    "bale.luck_rarer": "fewer than 1 of 100",
    "bale.counts_cycle": "One bale is one try, whatever its strands: a bale is clean with all of "
    "them tied.",
    "bale.counts_strand": "One bale is one try: a bale is clean with the strands tied at the "
    "knotters that failed.",
    "bale.counts_each": "Each strand is a try of its own: a bale is clean with all of them tied.",
    "bale.counts_each_of": "Each strand is a try of its own, {n} a bale: a bale is clean with all "
    "of them tied.",
    "bale.count_on": "Look at the bales after they have left the machine. The first bale after "
    "threading does not count. Type how many were clean, or f if it failed again.",
    "bale.count_on_at": "Look at the bales after they have left the machine. The first bale after "
    "threading does not count. Type how many were clean, or f and the knotter if it failed again.",
    "bale.clean_so_far": "{bales} in a row so far",
    "bale.cured": "Cured: ",
    "bale.proved": "{names}. {bales} since: had nothing changed, so many would come by luck in "
    "{luck}.",
    "bale.cause_there": "{name} at knotter {knotter}",
    # the end of a search, and what disagrees
    "bale.call": "Nothing known here fits and is still worth checking. Call the dealer's workshop "
    "or the machine's service line, and give them this record. The nearest were:",
    "bale.disagree": "Two answers disagree: ",
    "bale.clash": "'{told}' does not go with '{because}' [{rule}]. What you told stands and the "
    "search goes on.",
    "bale.clash_back": "'{told}' does not go with '{because}' [{rule}]. What you told stands and "
    "the search goes on; type b to change it.",
}

PHRASES |= {
    # the record
    "bale.record": "Bad bale: {machine}",
    "bale.record_baler": "Bad bale: baler",
    "bale.outcome_cured": "Cured: {proved}",
    "bale.outcome_found": "Found, not yet set: {name}.",
    "bale.outcome_set": "Set, not yet proved: {name}. It takes {n} clean bales in a row.",
    "bale.outcome_open": "Not found yet. Nearest: {name}, {standing}.",
    "bale.head_case": "Case",
    "bale.head_machine": "Machine",
    "bale.head_begun": "Begun",
    "bale.head_by": "By",
    "bale.head_for": "For",
    "bale.head_taken": "Taken",
    "bale.head_rules": "Rules then",
    "bale.knotters": "{n} knotters",
    "bale.taken": "{minutes:.0f} minutes in all",
    "bale.opened": "{opened:%Y-%m-%d %H:%M}",
    "bale.part_seen": "What was seen",
    "bale.part_checked": "What was measured and checked",
    "bale.part_noted": "Out, and not fitting this tie: set it last",
    "bale.part_set": "What was set, and how it proved",
    "bale.part_remarks": "Remarks",
    "bale.part_suspects": "Suspects at the end",
    "bale.part_cautions": "Before anyone works on it again",
    "bale.knotter": "knotter {knotter}",
    "bale.not_known": "not known",
    "bale.logged": "Logged",
    "bale.measured": "{value:g} {unit}; right is {right}",
    "bale.measured_example": "{value:g} {unit}. {right}",
    "bale.nothing_found": "nothing wrong",
    "bale.not_possible": "not possible then",
    "bale.was_set": "Set right",
    "bale.was_set_too": "Set too, not fitting this tie",
    "bale.changed": "from {before:g} to {after:g} {unit}",
    "bale.changed_to": "to {after:g} {unit}",
    "bale.was_proved": "Proof",
    "bale.no_failure": "no failure in {bales}",
    "bale.failed_after": "failed again after {bales}",
    "bale.failed_too": "Failed too",
    "bale.tie_at": "a tie at knotter {knotter}",
    "bale.record_because": "      because: ",
    "bale.record_against": "      against: ",
    "bale.col_cause": "Cause",
    "bale.col_standing": "Standing",
    "bale.col_because": "Because",
    "bale.col_against": "Against",
    "bale.record_words": "{words}.",
    "bale.basis": "Rule base {name}, version {version}. {rests}",
    # what was told, listed for a review
    "bale.dont_know": "don't know",
    "bale.not_now": "not now",
    "bale.told": "{asked} {answers}",
    "bale.told_at": "knotter {knotter}: {answer}",
}
