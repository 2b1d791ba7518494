"""What a use shows, as blocks: made into lines of any width, or into a page. Knows no baler."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from diagnose.say.phrases import Words
from diagnose.say.text import columns, table, wrapped


@dataclass(frozen=True)
class Title:
    """A heading; `of` the whole, or of a part."""

    text: Words
    whole: bool = False


@dataclass(frozen=True)
class Heading:
    """The head of a step and where it is done; below each other where it is narrow."""

    text: Words
    where: Words


@dataclass(frozen=True)
class Para:
    """A paragraph, indented by so many columns."""

    text: Words
    indent: int = 0


@dataclass(frozen=True)
class Labelled:
    """A paragraph after its label, the following lines below its first word."""

    label: Words
    text: Words
    indent: int = 0


@dataclass(frozen=True)
class Caution:
    """What can hurt someone, and what to do first; on a page in a frame."""

    text: Words


@dataclass(frozen=True)
class Choices:
    """What can be chosen by number, from 1."""

    options: tuple[Words, ...]


@dataclass(frozen=True)
class Items:
    """A list without order."""

    texts: tuple[Words, ...]


@dataclass(frozen=True)
class Rows:
    """A table; the last column wraps. `heads` name the columns."""

    cells: tuple[tuple[Words, ...], ...]
    heads: tuple[Words, ...] = ()
    indent: int = 2


@dataclass(frozen=True)
class Line:
    """A line of characters as it is, such as a bar or a drawing; never wrapped."""

    text: str


@dataclass(frozen=True)
class Figure:
    """A drawing for a page, escaped where it was made; in lines its words stand for it."""

    svg: str
    words: Words


@dataclass(frozen=True)
class Gap:
    """An empty line."""


Block = Title | Heading | Para | Labelled | Caution | Choices | Items | Rows | Line | Figure | Gap


def lines(blocks: Iterable[Block]) -> list[str]:
    """Blocks as lines that fit: see `say.text.in_columns`."""
    return [line for block in blocks for line in _lines(block)]


def _lines(block: Block) -> Iterator[str]:
    match block:
        case Title(text) | Figure(_, text):
            yield from wrapped(str(text))
        case Heading(text, where):
            beside = f"{text}   {where}"
            if len(beside) <= columns():
                yield beside
            else:
                yield from (*wrapped(str(text)), *wrapped(str(where), 2))
        case Para(text, indent):
            yield from wrapped(str(text), indent)
        case Labelled(label, text, indent):
            yield from wrapped(str(text), first=" " * indent + str(label))
        case Caution(text):
            yield from wrapped(str(text), first="  ! ")
        case Choices(options):
            for number, option in enumerate(options, 1):
                yield from wrapped(str(option), first=f"  {number:>2}  ")
        case Items(texts):
            for text in texts:
                yield from wrapped(str(text), first="  - ")
        case Rows(cells, heads, indent):
            rows = [heads, *cells] if heads else cells
            yield from table([[str(cell) for cell in row] for row in rows], indent)
        case Line(text):
            yield text
        case Gap():
            yield ""
