"""The text of a question file with one question, which many tests of its parts begin with."""

from eqlib.assess.load import read_questions

HEAD = """
[assignment]
id = "one"
title = "One"
course = "evening-class"
[[question]]
id = "q"
kind = "mixed"
points = 4
title = "Q"
prompt = "A question."
"""
IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140, dH_kJ = -6 }]\n'
MIXED = '[question.start]\ntotals = { "Fe^3+" = 2e-3, "SCN^-" = 1e-3 }\nvolume_L = 0.01\n'
TUBE = IRON + MIXED
DIOXIDE = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170, dH_kJ = -57.2 }]\n'
BULB = DIOXIDE + '[question.start]\ntotals = { "NO2(g)" = 0.04 }\nvolume_L = 0.1\n'


def question(*text):
    """The question that this text makes below the head."""
    return read_questions(HEAD + "".join(text))["q"]


def part(text):
    """One thing asked."""
    return f"[[question.part]]\n{text}\n"


def stress(text):
    """What is done."""
    return f"[question.stress]\n{text}\n"
