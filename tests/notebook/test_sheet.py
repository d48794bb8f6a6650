"""Forms asleep: the notebook's metadata holds an empty box for each, in the published widget-state format."""

import json

import ipywidgets as widgets
import pytest

from eqlib.notebook.sheet import STATE, VIEW, asleep_forms, form_id, forms_in, put_to_sleep, view_of


@pytest.fixture
def asleep():
    return asleep_forms("wells", ["student", "iron"])[STATE]


def test_the_state_is_of_version_two(asleep):
    assert (asleep["version_major"], asleep["version_minor"]) == (2, 0)
    assert json.loads(json.dumps(asleep)) == asleep


def test_every_form_has_its_box_under_its_lasting_name(asleep):
    for name in ("student", "iron"):
        assert asleep["state"][form_id("wells", name)]["model_name"] == "BoxModel"


def test_the_boxes_are_what_ipywidgets_itself_would_save(asleep):
    """The model names, modules and versions are those of the installed library."""
    box, layout = widgets.Box(), widgets.Layout()
    for kind, live in (("BoxModel", box), ("LayoutModel", layout)):
        entries = [entry for entry in asleep["state"].values() if entry["model_name"] == kind]
        assert entries
        for entry in entries:
            assert entry["model_module"] == live._model_module
            assert entry["model_module_version"].split(".")[0] == live._model_module_version.split(".")[0]


def test_every_reference_between_them_leads_somewhere(asleep):
    for entry in asleep["state"].values():
        for value in entry["state"].values():
            if isinstance(value, str) and value.startswith("IPY_MODEL_"):
                assert value.removeprefix("IPY_MODEL_") in asleep["state"]


def test_where_forms_cannot_be_drawn_nothing_ugly_stands():
    view = view_of("eqlib-wells-iron", "(The form opens in Jupyter.)")
    assert view[VIEW]["model_id"] == "eqlib-wells-iron"
    assert view["text/html"] == ""
    assert view["text/plain"]


def test_the_forms_of_a_notebook_are_found_in_its_cells():
    sources = [
        "from eqlib.notebook import student\n\nstudent()",
        'from eqlib.notebook import panel\n\npanel("iron")',
        "panel('iron')",
        'explore(\n    draw, Slider("x", 0, 1), title="Push the plunger"\n)',
        "# panel",
    ]
    cells = [{"cell_type": "code", "source": source} for source in sources]
    cells.append({"cell_type": "markdown", "source": 'panel("water")'})
    assert forms_in({"cells": cells}) == ["student", "iron", "eqlib-explore-push-the-plunger"]


def test_putting_to_sleep_writes_the_boxes_and_leaves_the_rest(folder):
    path = folder / "wells.ipynb"
    cell = {"cell_type": "code", "source": ['panel("iron")'], "metadata": {}, "outputs": []}
    path.write_text(json.dumps({"cells": [cell], "metadata": {"kernelspec": {"name": "python3"}}}), "utf-8")
    assert put_to_sleep(path) == ["iron"]
    written = json.loads(path.read_text("utf-8"))
    assert written["cells"] == [cell]
    assert written["metadata"]["kernelspec"] == {"name": "python3"}
    assert written["metadata"]["widgets"] == asleep_forms("wells", ["iron"])


def test_a_file_that_is_no_notebook_is_named(folder):
    from eqlib.errors import EqlibError

    (folder / "wells.ipynb").write_text("{", "utf-8")
    with pytest.raises(EqlibError, match=r"wells\.ipynb could not be read"):
        put_to_sleep(folder / "wells.ipynb")
