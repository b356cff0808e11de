"""Follow the tutorial page: run its commands, fill its settings, show what came out."""

import contextlib
import io
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
from example import make_export

from pumplife.cli import main
from pumplife.report.tables import write_cell
from pumplife.report.words import find_heading, name_units, write_heading

BLOCK = re.compile(r"^```(run|fill|show|lines)([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
UNITS = name_units("hours", "EUR")
MOST_LINES = 24


def follow(page: str, folder: Path) -> str:
    """Carry out every block of the page in the folder, and put in its place what came of it.

    ``run`` holds a command and gives its output, ``fill FILE`` holds settings and writes them into
    a file, ``show TABLE`` holds columns of a table of the results and gives its first rows,
    ``lines FILE`` holds a pattern and gives the lines of a file that it fits.

    Parameters
    ----------
    page : str
        Markdown.
    folder : Path
        Empty; the export is made there first.

    Returns
    -------
    str
        Markdown that Sphinx can read.
    """
    make_export(folder / "export")
    jobs: dict[str, Callable[[str, str], str]] = {
        "run": _run, "fill": _fill, "show": _show, "lines": _lines,
    }  # fmt: skip
    with contextlib.chdir(folder):
        return BLOCK.sub(lambda found: jobs[found[1]](found[2].strip(), found[3].strip()), page)


def _run(keep: str, command: str) -> str:
    """Run a command; `keep` is a pattern of lines to show where there are too many."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = main(command.split()[1:])
    if code:
        raise RuntimeError(f"{command} ended with {code}:\n{said.getvalue()}")
    lines = said.getvalue().rstrip().splitlines()
    kept = [line for line in lines if re.search(keep, line)] if keep else lines
    left = len(lines) - len(kept)
    shown = [*kept[:MOST_LINES], f"[... {left} more lines]"] if left else kept
    return "```console\n" + "\n".join([f"$ {command}", *shown]) + "\n```"


def _fill(file: str, settings: str) -> str:
    """Write settings under their headings; a line that is there already gives way."""
    path = Path(file)
    text = path.read_text(encoding="utf-8")
    for section, lines in re.findall(r"^(\[[^\n]+\])\n((?:[^\[\n][^\n]*\n?)+)", settings, re.M):
        head, _, rest = text.partition(f"\n{section}\n")
        block, end, others = rest.partition("\n\n")
        names = tuple(line.split(" = ")[0] for line in lines.splitlines())
        kept = [line for line in block.splitlines() if not line.lstrip("# ").startswith(names)]
        text = f"{head}\n{section}\n{lines.rstrip()}\n" + "\n".join(kept) + end + others
    path.write_text(text, encoding="utf-8")
    return f"```toml\n{settings}\n```"


def _lines(file: str, pattern: str) -> str:
    text = Path(file).read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if re.search(pattern, line)]
    return "```toml\n" + "\n".join(kept) + "\n```"


def _show(file: str, columns: str) -> str:
    """Give the first rows of a table on their side: one line per column, in words and units."""
    frame = pd.read_csv(file).head(3)
    table = Path(file).stem
    lines = ["| |" + " |" * len(frame), "|---|" + "---|" * len(frame)]
    for name in columns.split():
        heading = find_heading(table, name)
        cells = [write_cell(value, heading.kind, heading.blank) for value in frame[name]]
        lines.append("| " + " | ".join([write_heading(table, name, UNITS), *cells]) + " |")
    return "\n".join(lines)
