"""Run the notebooks beside this file: to a folder to read, or anew in their place (--renew)."""

import argparse
import os
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter
from tqdm import tqdm

HERE = Path(__file__).parent
LIVE = "application/vnd.jupyter.widget-view+json"  # runs with its kernel only


def run_notebook(path: Path, *, settings: dict[str, object] | None = None) -> nbformat.NotebookNode:
    """Run one notebook from top to bottom; `settings` override names of its settings cell.

    What comes back holds nothing that differs from run to run, so that it can be compared.
    """
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        if "settings" in cell.metadata.get("tags", []):
            lines = [f"{name} = {value!r}" for name, value in (settings or {}).items()]
            cell.source = "\n".join([cell.source, *lines])
    client = NotebookClient(
        notebook,
        timeout=1200,
        record_timing=False,
        store_widget_state=False,
        resources={"metadata": {"path": str(HERE)}},
        extra_arguments=["--log-level=ERROR"],
    )
    client.execute()
    return settle(notebook)


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
    for path in tqdm(paths, desc="notebooks", disable=None):
        notebook = run_notebook(path)
        if asked.renew:
            nbformat.write(notebook, path)
            continue
        asked.out.mkdir(parents=True, exist_ok=True)
        nbformat.write(notebook, asked.out / path.name)
        page, _ = HTMLExporter().from_notebook_node(notebook)
        (asked.out / f"{path.stem}.html").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
