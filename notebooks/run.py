"""Run every notebook beside this file and write it, with its results, to a folder."""

import argparse
import os
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter
from tqdm import tqdm

HERE = Path(__file__).parent


def run_notebook(path: Path, *, settings: dict[str, object] | None = None) -> nbformat.NotebookNode:
    """Run one notebook from top to bottom; `settings` override names of its settings cell."""
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        if "settings" in cell.metadata.get("tags", []):
            lines = [f"{name} = {value!r}" for name, value in (settings or {}).items()]
            cell.source = "\n".join([cell.source, *lines])
    client = NotebookClient(
        notebook,
        timeout=600,
        resources={"metadata": {"path": str(HERE)}},
        extra_arguments=["--log-level=ERROR"],
    )
    client.execute()
    return notebook


def main() -> None:
    """Run them all; each is written as .ipynb and as a page to read."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the results")
    out = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("PYDEVD_DISABLE_FILE_VALIDATION", "1")
    for path in tqdm(sorted(HERE.glob("*.ipynb")), desc="notebooks", disable=None):
        notebook = run_notebook(path)
        nbformat.write(notebook, out / path.name)
        page, _ = HTMLExporter().from_notebook_node(notebook)
        (out / f"{path.stem}.html").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
