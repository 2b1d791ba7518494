"""A case, reasoned through: what is known, who is suspect, and what to do next."""

from diagnose.case.use import TERMINAL, WORK_LIST, Use
from diagnose.session.diagnosis import Diagnosis, Suspect, diagnose
from diagnose.session.reasoner import Reasoner
from diagnose.session.step import Step

__all__ = [
    "TERMINAL",
    "WORK_LIST",
    "Diagnosis",
    "Reasoner",
    "Step",
    "Suspect",
    "Use",
    "diagnose",
]
