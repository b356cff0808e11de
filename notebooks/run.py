"""Run the notebooks beside this file: to a folder to read, or anew in their place (--renew).

They run one after the other in one kernel, emptied before each. A study is made once, and whole: a
notebook that asks for what an earlier one has studied, or a part of it, with the same costs and
seed, gets the same study.
"""

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import nbformat
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient
from nbclient.util import run_sync
from nbconvert import HTMLExporter
from tqdm import tqdm

HERE = Path(__file__).parent
LIVE = "application/vnd.jupyter.widget-view+json"  # runs with its kernel only


SHARE = """
import pumplife

def shared(make=pumplife.run_study, made={}):
    def run_study(*asked, results=None, **named):
        key = repr((asked, sorted(named.items())))
        if key not in made:
            made[key] = make(*asked, **named)
        return made[key]
    return run_study

pumplife.run_study = shared()
"""

EMPTY = """
%reset -f
import pandas
pandas.reset_option("^display")
del pandas
"""


@contextmanager
def share_studies() -> Iterator[AsyncKernelManager]:
    """A kernel for several notebooks, in which the same study is made once."""
    kernel = AsyncKernelManager(kernel_name="python3")
    try:
        _run(_one_cell(SHARE), kernel)
        yield kernel
    finally:
        run_sync(kernel.shutdown_kernel)(now=True)


def run_notebook(
    path: Path, kernel: AsyncKernelManager, *, settings: dict[str, object] | None = None
) -> nbformat.NotebookNode:
    """Run one notebook from top to bottom; `settings` override names of its settings cell.

    What comes back holds nothing that differs from run to run, so that it can be compared.
    """
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        if "settings" in cell.metadata.get("tags", []):
            lines = [f"{name} = {value!r}" for name, value in (settings or {}).items()]
            cell.source = "\n".join([cell.source, *lines])
    _run(_one_cell(EMPTY), kernel)
    _run(notebook, kernel)
    return settle(notebook)


def _one_cell(source: str) -> nbformat.NotebookNode:
    return nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source)])


def _run(notebook: nbformat.NotebookNode, kernel: AsyncKernelManager) -> None:
    client = NotebookClient(
        notebook,
        km=kernel,
        timeout=1200,
        record_timing=False,
        coalesce_streams=True,  # what is printed may come in pieces
        store_widget_state=False,
        resources={"metadata": {"path": str(HERE)}},
        extra_arguments=["--log-level=ERROR"],
    )
    try:
        client.execute()
    finally:
        if client.kc is not None:  # the kernel goes on
            client.kc.stop_channels()


def settle(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """Take out what differs from run to run: counts, versions, controls that need a kernel."""
    notebook.metadata["language_info"] = {"name": "python"}
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code":
            cell["execution_count"] = None
            for output in cell.outputs:
                output.get("data", {}).pop(LIVE, None)
                if "execution_count" in output:
                    output["execution_count"] = None
    return notebook


def main() -> None:
    """Run them all, or those that are named."""
    parser = argparse.ArgumentParser(description=__doc__)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--out", type=Path, help="folder for notebooks and pages with results")
    where.add_argument("--renew", action="store_true", help="write the results into the notebooks")
    parser.add_argument("names", nargs="*", help="without .ipynb; all by default")
    asked = parser.parse_args()
    os.environ.setdefault("PYDEVD_DISABLE_FILE_VALIDATION", "1")
    paths = [HERE / f"{name}.ipynb" for name in asked.names] or sorted(HERE.glob("*.ipynb"))
    with share_studies() as kernel:
        for path in tqdm(paths, desc="notebooks", disable=None):
            notebook = run_notebook(path, kernel)
            if asked.renew:
                nbformat.write(notebook, path)
            else:
                _write_out(notebook, path, asked.out)


def _write_out(notebook: nbformat.NotebookNode, path: Path, out: Path) -> None:
    """The notebook with its results, and as a page."""
    out.mkdir(parents=True, exist_ok=True)
    nbformat.write(notebook, out / path.name)
    page, _ = HTMLExporter().from_notebook_node(notebook)
    (out / f"{path.stem}.html").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
