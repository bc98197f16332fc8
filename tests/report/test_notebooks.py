"""The notebooks run on the sample logbook, and their answers stand in their second cell."""

from __future__ import annotations

import subprocess
import sys

import nbformat
import pytest

from brewlog.report.notebooks import NOTEBOOKS, notebook_folder, notebook_html, run_notebook, set_choices


@pytest.fixture(scope="module")
def ran(sample_path):
    return {name: run_notebook(name, {"BOOK": str(sample_path)}) for name in NOTEBOOKS}


def texts(cell):
    found = []
    for output in cell.outputs:
        data = output.get("data", {})
        found.append(
            data.get("text/html") or data.get("text/markdown") or data.get("text/plain") or output.get("text", "")
        )
    return "\n".join(found)


def test_the_second_cell_answers(ran):
    assert "efficiency" in texts(ran["review_one_brew"].cells[1])
    assert "nameplate power" in texts(ran["calibrate_a_rig"].cells[1])
    assert "points" in texts(ran["why_efficiency_changed"].cells[1])


def test_no_cell_warns_or_fails(ran):
    for name, notebook in ran.items():
        for cell in notebook.cells:
            for output in cell.get("outputs", []):
                assert output.output_type != "error", name
                assert output.get("name") != "stderr", f"{name}: {output.get('text')}"


def test_figures_are_drawn(ran):
    for name, notebook in ran.items():
        kinds = [kind for cell in notebook.cells for o in cell.get("outputs", []) for kind in o.get("data", {})]
        assert kinds.count("image/png") >= 2, name


def test_pages_of_notebooks_need_nothing_from_outside(ran):
    for notebook in ran.values():
        page = notebook_html(notebook)
        assert "<script" not in page
        assert "http-equiv" not in page
        assert 'src="http' not in page
        assert "&lt;p&gt;" not in page, "markup of our own is not shown as text"


def test_choices_replace_exactly_one_line():
    notebook = nbformat.read(notebook_folder() / "review_one_brew.ipynb", as_version=4)
    set_choices(notebook, {"BOOK": r"C:\logs\new", "BREW": "it's 12"})
    assert "BOOK = 'C:\\\\logs\\\\new'" in notebook.cells[1].source
    assert 'BREW = "it\'s 12"' in notebook.cells[1].source
    with pytest.raises(KeyError, match="sets RIG 0 times"):
        set_choices(notebook, {"RIG": "x"})


def test_libraries_of_the_notebooks_are_whole_before_pages_are_drawn_beside_them():
    # matplotlib asks an IPython that another thread has half imported for what it does not have yet
    code = (
        "import sys; from brewlog.report import site\n"
        "class Stop(Exception): pass\n"
        "def pool(count):\n"
        "    assert {'IPython', 'nbclient', 'nbconvert'} <= set(sys.modules)\n"
        "    raise Stop\n"
        "site.ThreadPoolExecutor = pool\n"
        "from types import SimpleNamespace\n"
        "try:\n"
        "    site.make_all([SimpleNamespace(beside=True)], None, '', None, None)\n"
        "except Stop:\n"
        "    print('whole')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "whole", done.stderr
