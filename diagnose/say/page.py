"""Pages to keep or print: one file each, no network, black and white, A4. jinja2 lives here."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from diagnose.say.blocks import Block, Figure
from diagnose.say.phrases import Words


def page(title: Words, blocks: Iterable[Block], **more: Any) -> str:
    """Blocks as a page. Everything put in is escaped, but for figures, which are drawn here."""
    made = [(type(block).__name__.lower(), block) for block in blocks]
    figures = {id(b): Markup(b.svg) for _, b in made if isinstance(b, Figure)}
    return render("say/blocks.html", title=title, blocks=made, figures=figures, id=id, **more)


def render(template: str, **values: Any) -> str:
    """A page from a template named from the package's folder, e.g. `sheet/blank.html`.

    Everything put in is escaped. Templates extend `say/page.html`, which holds the print style.
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent.parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(**values)
