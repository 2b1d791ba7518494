"""Where a learner stands, as data for other programs, with a schema."""

from __future__ import annotations

from diagnose.say.view import View


class ProgressView(View):
    """Mechanism -> how well it is known, in a word."""

    learner: str
    mechanisms: dict[str, str]
