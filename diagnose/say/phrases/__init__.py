"""Whole sentences with named holes, in one table, so that a translator has them all in hand.

A phrase is a sentence, or two of them: for one, and for several, chosen by the hole `n`. A hole
takes a number, a word of the rules, or another phrase; how a number looks stands in the phrase.
Ids begin with the use that says them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from diagnose.say.phrases import bale, casebook, common, log, rules, sheet, train, twine

Phrase = str | tuple[str, str]
PHRASES: Mapping[str, Phrase] = {
    **common.PHRASES,
    **bale.PHRASES,
    **sheet.PHRASES,
    **log.PHRASES,
    **casebook.PHRASES,
    **rules.PHRASES,
    **train.PHRASES,
    **twine.PHRASES,
}


class Said(NamedTuple):
    """A phrase and what fills its holes; nothing is put together before it is shown."""

    phrase: str
    holes: tuple[tuple[str, object], ...] = ()

    def __str__(self) -> str:
        """The sentence. Raises KeyError for a phrase that is not in the table, or an open hole."""
        phrase, holes = PHRASES[self.phrase], dict(self.holes)
        if isinstance(phrase, tuple):
            phrase = phrase[0] if holes["n"] == 1 else phrase[1]
        return phrase.format_map(holes)


Words = str | Said
"""What is shown: a phrase, or words that the rules or a person gave as they are."""


def said(phrase: str, **holes: object) -> Said:
    """`said("count.bales", n=59)`."""
    return Said(phrase, tuple(holes.items()))
