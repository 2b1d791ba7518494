"""The forward-chaining reader of the rule base: what follows from what is known, and why."""

from diagnose.engine.forward import Engine
from diagnose.engine.productions import Production, compile_productions

__all__ = ["Engine", "Production", "compile_productions"]
