"""A small course, and a screen that keeps what a notebook would show."""

import itertools

import pytest

from eqlib.notebook.store import forget

QUESTIONS = """
[assignment]
id = "wells"
title = "Two wells"
course = "evening-class"
mode = "{mode}"

[[question]]
id = "iron"
kind = "prediction"
points = 3
title = "More iron(III)"
prompt = "A well holds {{fe_mL}} mL of one, 1.00 mL of the other; then a drop of iron(III) nitrate."
reactions = [{{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 139 }}]
hints = ["Which concentration has just gone up?"]
numbers = {{ fe_mL = [0.90, 1.10, 0.05] }}
start = {{ portions = [
  {{ of_mM = {{ "Fe(NO3)3" = 5.0 }}, mL = "fe_mL" }},
  {{ of_mM = {{ KSCN = 2.0 }}, mL = 1.0 }},
] }}
stress = {{ kind = "add_solution", of_mM = {{ "Fe(NO3)3" = 100 }}, mL = 0.10 }}
part = [{{ ask = "direction" }}, {{ ask = "K" }}, {{ ask = "confidence" }}]

[[question]]
id = "fixed"
kind = "prediction"
points = 2
title = "The same for all"
prompt = "A well, and a drop of thiocyanate."
reactions = [{{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 139 }}]
start = {{ totals = {{ "Fe^3+" = 0.0025, "SCN^-" = 0.001 }}, volume_L = 0.002 }}
stress = {{ kind = "add_solution", of_mM = {{ KSCN = 100 }}, mL = 0.10 }}
part = [{{ ask = "direction" }}]

[[question]]
id = "kc"
kind = "number"
points = 2
title = "Your own Kc"
prompt = "The mixture reads {{absorbance}}."
reactions = [{{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }}]
start = {{ portions = [
  {{ of_mM = {{ "Fe(NO3)3" = 2.0 }}, mL = 5.0 }},
  {{ of_mM = {{ KSCN = 2.0 }}, mL = 3.0 }},
  {{ to_mL = 10.0 }},
] }}
measured = {{ reading = "absorbance", species = "FeSCN^2+", epsilon = 4700, path_cm = 1.0, decimals = 3 }}
part = [{{ ask = "number", id = "kc", quantity = "K", unit = "L/mol", code = true }}]

[[question]]
id = "table"
kind = "ice"
points = 3
title = "The table"
prompt = "Fill in the table."
reactions = [{{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }}]
start = {{ totals = {{ "Fe^3+" = 0.001, "SCN^-" = 0.0006 }} }}
part = [{{ ask = "ice" }}]

[[question]]
id = "balance"
kind = "equation"
points = 1
title = "Balance it"
prompt = "Balance it."
part = [{{ ask = "equation", skeleton = "NO2(g) -> N2O4(g)" }}]

[[question]]
id = "why"
kind = "explanation"
points = 2
title = "In your own words"
prompt = "Explain."
part = [{{ ask = "explain", rubric = ["a sentence"] }}]
"""

SESSION = (
    "JPY_SESSION_NAME",
    "VSCODE_PID",
    "NBGRADER_EXECUTION",
    "NBGRADER_VALIDATING",
    "JUPYTERHUB_USER",
    "BINDER_REPO_URL",
    "BINDER_SERVICE_HOST",
)


@pytest.fixture(autouse=True)
def nobody(monkeypatch):
    """No kernel of anybody's: no server, no marking, nothing restored."""
    for name in SESSION:
        monkeypatch.delenv(name, raising=False)
    forget()
    yield
    forget()


class Screen:
    """What was shown, by display name; outputs without a name get a number."""

    def __init__(self):
        self.outputs = {}
        self.count = itertools.count(1)

    def display(self, *data, raw=False, display_id=None):
        for item in data:
            self.outputs[display_id or f"output {next(self.count)}"] = item

    def update(self, data, *, raw=False, display_id):
        assert display_id in self.outputs, f"{display_id} was never shown"
        self.outputs[display_id] = data

    def clear(self):
        """As if all outputs had been cleared."""
        self.outputs = {}

    @property
    def text(self):
        """All that can be read, as plain text."""
        return "\n".join(
            str(data.get("text/plain", "")) for data in self.outputs.values() if isinstance(data, dict)
        )

    def of(self, ending):
        """The one output whose name ends so."""
        (name,) = [name for name in self.outputs if name.endswith(ending)]
        return self.outputs[name]

    def as_notebook(self):
        """The outputs as a saved notebook holds them."""
        outputs = [
            {"output_type": "display_data", "metadata": {}, "data": data}
            for data in self.outputs.values()
            if isinstance(data, dict)
        ]
        cell = {
            "cell_type": "code",
            "id": "a",
            "metadata": {},
            "source": "",
            "outputs": outputs,
            "execution_count": 1,
        }
        return {"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


@pytest.fixture
def screen(monkeypatch):
    """The screen that ``display`` draws on."""
    import IPython.display

    made = Screen()
    monkeypatch.setattr(IPython.display, "display", made.display)
    monkeypatch.setattr(IPython.display, "update_display", made.update)
    return made


@pytest.fixture
def folder(tmp_path):
    """A folder with an assessed assignment in it."""
    (tmp_path / "questions.toml").write_text(QUESTIONS.format(mode="assessed"), "utf-8")
    return tmp_path


@pytest.fixture
def practice(tmp_path):
    """The same for practice."""
    (tmp_path / "questions.toml").write_text(QUESTIONS.format(mode="practice"), "utf-8")
    return tmp_path
