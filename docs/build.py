"""Build the documentation: python docs/build.py --out out/docs, then open its index.html."""

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

from sphinx.cmd.build import build_main

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
sys.path[:0] = [str(ROOT), str(HERE)]

import reference  # noqa: E402
import tutorial  # noqa: E402


def gather_sources(folder: Path) -> None:
    """Lay pages, README, notebooks, and what is made from the code into one folder."""
    pages = [path for path in HERE.rglob("*") if path.suffix in (".md", ".css", ".csv")]
    for path in [HERE / "conf.py", *pages]:
        copy = folder / path.relative_to(HERE)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
    for path in [ROOT / "README.md", *sorted((ROOT / "notebooks").glob("*.ipynb"))]:
        copy = folder / path.relative_to(ROOT)
        copy.parent.mkdir(exist_ok=True)
        shutil.copyfile(path, copy)
    picture = folder / "data" / "demo" / "report.png"
    picture.parent.mkdir(parents=True)
    shutil.copyfile(ROOT / "data" / "demo" / "report.png", picture)


def main() -> int:
    """Gather, run the tutorial, write the reference, and let Sphinx make the pages."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the pages")
    out = parser.parse_args().out.resolve()
    with tempfile.TemporaryDirectory(prefix="docs-") as beside:
        source, plant = Path(beside) / "source", Path(beside) / "plant"
        source.mkdir()
        plant.mkdir()
        gather_sources(source)
        page = source / "tutorial.md"
        page.write_text(tutorial.follow(page.read_text("utf-8"), plant), "utf-8")
        reference.write_pages(source / "reference", results=plant / "results")
        strict = ["--fail-on-warning", "--keep-going", "--quiet", "--fresh-env"]
        return build_main([*strict, "-d", str(Path(beside) / "kept"), str(source), str(out)])


if __name__ == "__main__":
    sys.exit(main())
