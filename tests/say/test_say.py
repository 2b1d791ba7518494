"""Phrases, blocks and views: one table of sentences, lines that fit, data as its schema says."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from diagnose.say import (
    Block,
    Caution,
    Choices,
    Figure,
    Gap,
    Items,
    Labelled,
    Line,
    Para,
    Part,
    Rows,
    Said,
    Title,
    View,
    data,
    lines,
    said,
    schema,
    text,
)  # fmt: skip
from diagnose.say.page import page
from diagnose.say.phrases import PHRASES
from diagnose.say.text import in_columns

PACKAGE = Path(__file__).parent.parent.parent / "diagnose"


def said_in_the_package() -> Iterator[tuple[str, str, set[str] | None]]:
    """Where, phrase and holes of every call of `said`; holes None where they are spread."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "said"):
                continue
            where = f"{path.name}:{node.lineno}"
            spread = any(word.arg is None for word in node.keywords)
            holes = None if spread else {str(word.arg) for word in node.keywords}
            for phrase in _literals(node.args[0]):
                yield where, phrase, holes


def _literals(node: ast.expr) -> list[str]:
    """The phrases an argument may name: one, or one of two; an f-string names a whole group."""
    match node:
        case ast.Constant(value=str(name)):
            return [name]
        case ast.IfExp(body=body, orelse=orelse):
            return [*_literals(body), *_literals(orelse)]
        case ast.JoinedStr(values=[ast.Constant(value=str(start)), *_]):
            return [name for name in PHRASES if name.startswith(start)]
    raise AssertionError(f"line {node.lineno}: a phrase is named where it is said")


def holes_of(phrase: str) -> set[str]:
    texts = PHRASES[phrase]
    several = texts if isinstance(texts, tuple) else (texts,)
    named = {
        name.split(".")[0].split("[")[0]
        for one in several
        for _, name, _, _ in string.Formatter().parse(one)
        if name is not None
    }
    return named | ({"n"} if isinstance(texts, tuple) else set())


def test_every_phrase_said_is_in_the_table_with_just_its_holes() -> None:
    for where, phrase, holes in said_in_the_package():
        assert phrase in PHRASES, f"{where}: no phrase '{phrase}'"
        assert holes is None or holes == holes_of(phrase), f"{where}: holes of '{phrase}'"


def test_every_phrase_in_the_table_is_said_somewhere() -> None:
    spoken = {phrase for _, phrase, _ in said_in_the_package()}
    assert set(PHRASES) == spoken


def test_one_and_several_are_two_sentences() -> None:
    assert [str(said("count.clean_bale", n=n)) for n in (0, 1, 2)] == [
        "0 clean bales", "1 clean bale", "2 clean bales",
    ]  # fmt: skip
    assert str(said("count.case", n=7842)) == "7,842 cases"
    with pytest.raises(KeyError):
        str(Said("nobody says this"))


WORD = st.text("abcdefg-", min_size=1, max_size=12)
WORDS = st.lists(WORD, min_size=1, max_size=30).map(" ".join)
BLOCKS = st.one_of(
    WORDS.map(Title), WORDS.map(Para), WORDS.map(Caution),
    st.builds(Labelled, WORD.map(lambda word: f"{word}: "), WORDS),
    st.lists(WORDS, min_size=1, max_size=4).map(lambda texts: Choices(tuple(texts))),
    st.lists(WORDS, min_size=1, max_size=4).map(lambda texts: Items(tuple(texts))),
    st.lists(st.tuples(WORD, WORD, WORDS), min_size=1, max_size=4).map(lambda r: Rows(tuple(r))),
    st.just(Gap()),
)  # fmt: skip


@pytest.mark.parametrize("wide", [40, 60, 80])
@given(blocks=st.lists(BLOCKS, max_size=6))
def test_blocks_fit_any_width_and_lose_no_word(wide: int, blocks: list[Block]) -> None:
    with in_columns(wide):
        made = lines(blocks)
    assert all(len(line) <= wide for line in made)
    told = "".join("".join(made).split())
    for block in blocks:
        words = getattr(block, "text", None) or " ".join(
            [*getattr(block, "options", ()), *getattr(block, "texts", ())]
        )
        for word in str(words).split():
            assert word in told


def test_a_line_as_it_is_and_a_figure_stand_in_both() -> None:
    blocks = [Line("==..  0.5"), Figure("<svg><title>hook</title></svg>", "the hook")]
    assert lines(blocks) == ["==..  0.5", "the hook"]
    made = page("A page", blocks)
    assert "<pre>==..  0.5</pre>" in made
    assert "<svg><title>hook</title></svg>" in made


def test_a_page_escapes_all_that_was_put_in_and_asks_no_network() -> None:
    blocks = [
        Title("<b>"), Para("<script>alert(1)</script>"), Labelled("Found: ", "a & b"),
        Caution("<i>"), Choices(("<u>",)), Items(("<s>",)), Rows((("<q>", "x"),), ("<h>", "y")),
    ]  # fmt: skip
    made = page("<title>", blocks)
    for tag in ("<b>", "<script>", "<i>", "<u>", "<s>", "<q>", "<h>", "<title><title>"):
        assert tag not in made.replace("<b>Found", "")
    assert "a &amp; b" in made
    assert 'name="viewport"' in made
    assert "@page" in made
    assert "http" not in made


class Bit(Part):
    id: str
    minutes: float


class Shown(View):
    kind: ClassVar[str] = "shown"
    bits: tuple[Bit, ...]
    note: str | None = None

    def blocks(self) -> Iterator[Block]:
        for bit in self.bits:
            yield Labelled(bit.id + ": ", f"{bit.minutes:g} min")


def test_a_views_data_is_as_its_schema_says_and_its_lines_say_the_same() -> None:
    view = Shown(bits=(Bit(id="hook", minutes=2.5),))
    told = data(view)
    assert told == {"format": 1, "bits": [{"id": "hook", "minutes": 2.5}]}
    validator = Draft202012Validator(schema(Shown))
    validator.validate(told)
    assert not validator.is_valid({**told, "bits": [{"id": "hook"}]})
    assert text(view) == ["hook: 2.5 min"]
