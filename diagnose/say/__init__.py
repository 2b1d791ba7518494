"""How anything is put: phrases, blocks, lines of any width, data with a schema, a page."""

from diagnose.say.blocks import (
    Block,
    Caution,
    Choices,
    Figure,
    Gap,
    Heading,
    Items,
    Labelled,
    Line,
    Para,
    Rows,
    Title,
    lines,
)
from diagnose.say.phrases import Said, Words, said
from diagnose.say.view import Part, View, data, schema, text

__all__ = [
    "Block", "Caution", "Choices", "Figure", "Gap", "Heading", "Items", "Labelled", "Line", "Para",
    "Part", "Rows", "Said", "Title", "View", "Words", "data", "lines", "said", "schema", "text",
]  # fmt: skip
