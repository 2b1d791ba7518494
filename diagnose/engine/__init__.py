"""The forward-chaining reader of the rule base: from what is known to what follows, with a trace."""

from diagnose.engine.forward import Engine
from diagnose.engine.productions import Production, compile_productions

__all__ = ["Engine", "Production", "compile_productions"]
