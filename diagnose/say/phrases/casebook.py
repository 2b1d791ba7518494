"""What the casebook says: cases listed and merged, what they have taught, how they replay."""

from __future__ import annotations

PHRASES: dict[str, str | tuple[str, str]] = {
    "casebook.listed": "{cases}, {n} confirmed. Casebook:",
    "casebook.listed_conflicts": "{cases}, {n} confirmed, {conflicts}. Casebook:",
    "casebook.not_solved": "not solved",
    "casebook.conflict": "CONFLICT: {outcome}",
    "casebook.copy": "--- copy {content} ---",
    "casebook.other_rules": "Written with other rules than these ({error}); as it was recorded:",
    "casebook.conflict_technician": "CONFLICT about the technician: {names}.",
    "casebook.conflict_customer": "CONFLICT about the customer: {names}.",
    "casebook.conflict_copies": "CONFLICT: these copies contradict each other, and none was thrown "
    "away. Choose with: diagnose cases settle {case} COPY",
    "casebook.added_new": "{case}: kept",
    "casebook.added_known": "{case}: was here already",
    "casebook.added_continued": "{case}: taken further",
    "casebook.added_earlier": "{case}: an earlier state of what is here; kept",
    "casebook.added_conflict": "{case}: CONTRADICTS the copy that was here; both are kept",
    "casebook.merged_new": "{number} new",
    "casebook.merged_continued": "{number} taken further",
    "casebook.merged_earlier": "{number} earlier states",
    "casebook.merged_known": "{number} here already",
    "casebook.merged_conflict": "{number} in conflict",
    "casebook.merged": "{parts}.",
    "casebook.nothing_merged": "No cases in it.",
    "casebook.both_kept": "CONFLICT, both kept: {case} (diagnose cases show {case})",
    "casebook.unread": "{lines} could not be read:",
    "casebook.more": "and {number} more",
    "casebook.learnt": "What is learnt {basis}.",
    "casebook.bias": "Checks are chosen by suspicion: what was suspected was looked for first and "
    "is found more often than what was not. --no-learning shows the rule base alone.",
    "casebook.common": "Commonness of causes, words -> with cases",
    "casebook.common_moved": "{was:.1%} -> {now:.1%}",
    "casebook.times": "Minutes of checks, judged -> with those taken",
    "casebook.time_moved": "{was:g} -> {now:.1f}",
    "casebook.not_counted": "Not in these rules, so not counted: {causes}.",
    "casebook.rows_aside": "{rows} of this casebook cannot be read; kept as it stands, and set "
    "aside:",
    # a replay
    "casebook.none_readable": "None of the solved cases can be read with these rules.",
    "casebook.judged": "{cases} through rules {version}, each judged by what was seen before its "
    "first check. Scores: 0 is best.",
    "casebook.rules_alone": "rules alone",
    "casebook.with_learning": "with learning",
    "casebook.cause_first": "confirmed cause first",
    "casebook.among_first": "among the first {places}",
    "casebook.of": "{number} of {all}",
    "casebook.brier": "Brier score",
    "casebook.log_score": "log score",
    "casebook.score": "{score:.3f}",
    "casebook.even_chances": "(even chances {score:.3f})",
    "casebook.reliability": "Reliability, rules alone: all {cases} x {causes} chances given, by "
    "standing word; mean chance said, and share that was so.",
    "casebook.col_said": "said",
    "casebook.col_chance": "chance",
    "casebook.col_so_in": "so in",
    "casebook.col_n": "n",
    "casebook.col_interval": "95 % interval",
    "casebook.interval": "{low:.3f}-{high:.3f} {bar}",
    "casebook.distance": "Mean distance, weighted by n: {error:.3f}.",
    "casebook.minutes": "Minutes to the fault in {cases}, all at the rule base's prices, ways and "
    "calls included:",
    "casebook.col_mean": "mean",
    "casebook.col_median": "median",
    "casebook.col_to_ours": "mean to ours",
    "casebook.our_planner": "our planner",
    "casebook.as_checked": "as it was checked",
    "casebook.printed_chart": "a printed chart",
    "casebook.figure": "{value:.1f}",
    "casebook.ratio": "{value:.2f}",
    "casebook.by_clock": "By the clock {taken:.1f} minutes on average (n = {n}), {times:.2f} times "
    "what the rule base says for the same steps.",
    "casebook.nothing_kept": "No replay with other rules is kept yet; this one is, to compare "
    "with.",
    "casebook.nothing_moved": "{rules} changed since the replay of {since}; no case is notably "
    "better or worse.",
    "casebook.moved": "{rules} changed since the replay of {since}: {worse} worse, {better} "
    "better.",
    "casebook.worse": "worse: {case} {cause}, place {was_rank} -> {rank}, chance {was:.3f} -> "
    "{now:.3f}",
    "casebook.better": "better: {case} {cause}, place {was_rank} -> {rank}, chance {was:.3f} -> "
    "{now:.3f}",
    "casebook.by_rule": "by {rule} ({gain:+.2f})",
    "casebook.more_in_json": "and {number} more; --json lists all.",
    "casebook.left_out": "left out: {case}: {why}",
}
