"""The forward-chaining reader of the rule base: what follows from what is known, and why.

`diagnose.engine.forward` runs the productions; it is imported where an engine is built, not
here, as that takes longer than a first question should.
"""

from diagnose.engine.conclusions import Conclusions
from diagnose.engine.productions import Production, compile_productions

__all__ = ["Conclusions", "Production", "compile_productions"]
