"""Small drawings of what hangs from a bale, in plain characters. The bale is the block of `#`.

A knot is `8`, a cut end `|`, a torn one `~`, the way into the machine `->`.
"""

PICTURES: dict[str, tuple[str, ...]] = {
    "no_twine": (
        "      ############",
        "      ############",
        "      ############",
    ),
    "runs_back": (
        "   ---############------------------> machine",
        "   |  ############",
        "   ---############------------------> machine",
    ),
    "knot_one_end": (
        "   ---############---8|",
        "   |  ############",
        "   ---############------------------> machine",
    ),
    "knot_one_loose": (
        "   ---############---8|",
        "   |  ############",
        "   ---############--------|",
    ),
    "both_loose": (
        "   ---############--------|",
        "   |  ############",
        "   ---############--------|",
    ),
    "slipped_open": (
        "   ---############----. |",
        "   |  ############     X    bent as from a knot",
        "   ---############----' |",
    ),
    "burst_at_knot": (
        "   ---############---8~",
        "   |  ############",
        "   ---############---~",
    ),
    "broke_away": (
        "   ---############---8---~",
        "   |  ############",
        "   ---############---~",
    ),
}
"""By answer of the sign that is seen first; one that is not here is told in words alone."""
