"""Two readers of the rules: what follows from what is known, and how likely each cause is.

`diagnose.inference.forward` runs the productions; it is imported where an engine is built, not
here, as that takes longer than a first question should.
"""

from diagnose.inference.conclusions import Conclusions
from diagnose.inference.productions import Production, compile_productions

__all__ = ["Conclusions", "Production", "compile_productions"]
