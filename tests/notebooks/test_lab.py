"""The notebooks as a user meets them: JupyterLab in a browser, all cells run, a slider moved."""

import importlib.util
import shutil
from pathlib import Path

import nbformat
import pytest

from tests.plants import small_plant

from .lab import WAIT, open_lab, open_notebook, run_all, run_lab, wait_for

ROOT = Path(__file__).parents[2]
NAMES = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))
MISSING = [
    name
    for name in ("jupyterlab", "ipywidgets", "playwright")
    if importlib.util.find_spec(name) is None
]
if shutil.which("chromium") is None:
    MISSING.append("chromium")
pytestmark = [
    pytest.mark.skipif(bool(MISSING), reason=f"needs {', '.join(MISSING)}"),
    pytest.mark.filterwarnings("default"),
]


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """A copy of the notebooks over a small plant; intervals without the results committed."""
    root = tmp_path_factory.mktemp("root")
    (root / "notebooks").mkdir()
    (root / "tests").symlink_to(ROOT / "tests")
    folder = small_plant(root / "plant")
    for name in NAMES:
        notebook = nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)
        for cell in notebook.cells:
            if "settings" in cell.metadata.get("tags", []) and "FOLDER" in cell.source:
                cell.source += f"\nFOLDER = {str(folder)!r}"
            if cell.cell_type == "code" and name == "intervals":
                cell.outputs = []
        nbformat.write(notebook, root / "notebooks" / f"{name}.ipynb")
    return root


@pytest.fixture(scope="module")
def page():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        yield browser.new_page(viewport={"width": 1280, "height": 900})
        browser.close()


SHOWN = ".jp-NotebookPanel:not(.lm-mod-hidden)"  # of the notebooks that are open


def figure_below(page):
    """Where the picture under the sliders comes from, and its message in words."""
    return page.evaluate(
        """shown => {
          const box = document.querySelector(`${shown} .widget-vbox`);
          const picture = box && box.querySelector('img');
          return picture && picture.naturalWidth
            ? [picture.src, box.querySelector('.widget-html-content').textContent] : null;
        }""",
        SHOWN,
    )


def test_every_notebook_opens_and_runs_and_its_figure_follows_a_slider(
    copied, page, tmp_path, monkeypatch
):
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    with run_lab(copied, tmp_path) as address:
        open_lab(page, address)
        for name in NAMES:
            state = open_notebook(page, name)
            assert state["errors"] == []
            assert state["cells"] > 8
            assert state["outputs"] > 8 or name == "intervals"
            state = run_all(page)
            assert state["errors"] == []
            assert state["ran"] == state["cells"]
            if name == "intervals":
                slide_and_look(page)


def slide_and_look(page):
    """Make lost production dearer by key: the interval of the message becomes shorter."""
    page.wait_for_selector(f"{SHOWN} .widget-vbox img", state="attached", timeout=WAIT * 1000)
    slider = page.locator(SHOWN).locator(".widget-slider", has_text="lost production")
    handle = slider.locator(".noUi-handle")
    handle.scroll_into_view_if_needed()
    before = wait_for(lambda: figure_below(page))
    handle.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    after = wait_for(lambda: differs(figure_below(page), before))
    interval = [float(words.split("every ")[1].split(" h")[0].replace(",", ""))
                for _, words in (before, after)]  # fmt: skip
    assert interval[1] < interval[0]
    assert after[0] != before[0]


def differs(now, before):
    return now if now and now[0] != before[0] and now[1] != before[1] else None
