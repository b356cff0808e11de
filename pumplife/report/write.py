"""Everything a study writes: beside the old folder first, in its place only when complete."""

import glob
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pumplife.errors import OutputError
from pumplife.records.inputs import NAME, keep_inputs
from pumplife.records.versions import MADE_BY, list_versions
from pumplife.report.drawn import Drawn
from pumplife.report.face import ReadableStudy, is_invented
from pumplife.report.gather import gather_figures
from pumplife.report.page import write_page
from pumplife.report.svg import write_svg
from pumplife.report.tables import NOTHING
from pumplife.report.workbook import write_workbook
from pumplife.ticket.write import write_tickets

LEFT_AFTER = 3600.0
"""After it nobody is still at work on a folder that was begun [s]."""


def write_study(study: ReadableStudy, out: Path) -> Path:
    """Write tables, figures, page, workbook and settings of a study into one folder.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    out : Path
        The folder to make. An older one is replaced only if a study made it and nothing else was
        put there since.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        When the folder can't be made or isn't ours to replace. Nothing is left half written.
    """
    target = Path(out).absolute()
    check_output(target, study.records.source)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(
            prefix=f".{target.name}-", dir=target.parent, ignore_cleanup_errors=True
        ) as beside:
            fresh = Path(beside) / "new"
            fresh.mkdir()
            _write_all(study, fresh)
            _exchange(fresh, target, Path(beside) / "old")
        _clear_leftovers(target)
    except OSError as problem:
        raise OutputError(
            f"The results can't be written to {target}: {problem.strerror or problem}. "
            "Choose a folder on a disk with room where you may write."
        ) from problem
    return target


def check_output(out: Path, source: Path | None = None) -> None:
    """Refuse, before the work begins, a folder that `write_study` would not replace.

    Parameters
    ----------
    out : Path
        The folder to make.
    source : Path, optional
        The plant folder or workbook that was read.

    Raises
    ------
    OutputError
        When the folder is a file, can't be made or written, holds the plant's records, or holds
        what no study wrote.
    """
    target = Path(out).absolute()
    try:
        _refuse_unwritable(target)
        if source is not None:
            _refuse_records(target.resolve(), Path(source).absolute().resolve())
        if target.exists():
            _refuse_strangers(target)
    except OSError as problem:
        raise OutputError(
            f"The results can't be written to {target}: {problem.strerror or problem}. "
            "Choose a folder where you may write."
        ) from problem


def _refuse_unwritable(target: Path) -> None:
    """Refuse the root of a disk, and what lies in a file or where nothing may be written."""
    if target.parent == target:
        raise OutputError(f"{target} is the root of the disk. Choose a folder of its own.")
    above = next(folder for folder in target.parents if folder.exists())
    if not above.is_dir():
        raise OutputError(
            f"The results can't be written to {target}: {above} is a file. Choose another folder."
        )
    if not os.access(above, os.W_OK | os.X_OK):
        raise OutputError(
            f"The results can't be written to {target}: you may not write in {above}. "
            "Choose a folder where you may write."
        )


def _refuse_strangers(target: Path) -> None:
    """Refuse a file, and a folder that holds what no study wrote."""
    if not target.is_dir():
        raise OutputError(f"{target} is a file. Choose a folder that doesn't exist yet.")
    listed = _listed_files(target)
    strange = list(islice((name for name in _visible_files(target) if name not in listed), 4))
    if strange:
        more = " and more" if len(strange) > 3 else ""
        raise OutputError(
            f"The folder {target} holds what no study wrote: {', '.join(strange[:3])}{more}. "
            "Move it away, or choose another output folder."
        )


def _refuse_records(target: Path, plant: Path) -> None:
    if target == plant or target in plant.parents:
        raise OutputError(
            f"The output folder {target} holds the plant's own records ({plant.name}). "
            "Choose a folder of its own."
        )


def _listed_files(folder: Path) -> set[str]:
    """Give the files that a study says it wrote there; none when no study did."""
    try:
        settings = json.loads((folder / "study.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return set()
    if not isinstance(settings, dict) or settings.get("made_by") != MADE_BY:
        return set()
    return {"study.json", *map(str, settings.get("files", {}))}


def _visible_files(folder: Path) -> Iterator[str]:
    """Find the files of a folder; those that programs hide there don't count."""
    for place, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            if not name.startswith((".", "~$")):
                yield (Path(place) / name).relative_to(folder).as_posix()


def _exchange(fresh: Path, target: Path, old: Path) -> None:
    """Put the new folder in the place of the old one, or leave the old one as it was."""
    if not target.exists():
        fresh.rename(target)
        return
    try:
        target.rename(old)
        fresh.rename(target)
    except BaseException:  # an interrupt too
        if old.exists() and not target.exists():
            old.rename(target)
        raise


def _clear_leftovers(target: Path) -> None:
    """Remove what studies left beside the folder that were killed while they wrote."""
    for folder in target.parent.glob(f".{glob.escape(target.name)}-????????"):
        held = {entry.name for entry in folder.iterdir()} if folder.is_dir() else {"a file"}
        if held <= {"new", "old"} and time.time() - folder.stat().st_mtime > LEFT_AFTER:
            shutil.rmtree(folder, ignore_errors=True)


def _write_all(study: ReadableStudy, folder: Path) -> None:
    for name in sorted(study.tables):
        write_table(study.tables[name], folder / "tables" / f"{name}.csv")
    figures = gather_figures(study)
    drawn = list(zip(figures, map(_draw, figures), strict=True))
    for figure, document in drawn:
        _write_text(document, folder / "figures" / f"{figure.name}.svg")
        write_table(figure.data, folder / "figures" / f"{figure.name}.csv")
    _write_text(write_page(study, drawn), folder / "report.html")
    tickets = write_tickets(study, folder / "tickets", invented=is_invented(study))
    write_workbook(study, folder / "study.xlsx", tickets=tickets)
    why = keep_inputs(study.records.source, study.records.hashes, folder / NAME)
    files = {name: _digest(folder / name) for name in _visible_files(folder)}
    _write_text(_settings(study, files, why), folder / "study.json")


def _draw(figure: Drawn) -> str:
    return write_svg(figure.axes)


def _write_text(words: str, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(words, encoding="utf-8", newline="\n")


def write_table(frame: pd.DataFrame, path: Path) -> None:
    """Write a table as CSV: UTF-8, line feeds, ISO dates, ten significant digits.

    Numbers closer to zero than 1e-9 are what is left of rounding, and written as 0.

    Parameters
    ----------
    frame : DataFrame
        Any output table; its index is not written.
    path : Path
        The file to make; the same table makes the same bytes.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    dates = {
        name: frame[name].dt.strftime("%Y-%m-%d")
        for name in frame.columns
        if pd.api.types.is_datetime64_any_dtype(frame[name])
    }
    numbers = {
        name: np.where(np.abs(values := frame[name].to_numpy(float)) < NOTHING, 0.0, values)
        for name in frame.columns
        if pd.api.types.is_float_dtype(frame[name])
    }
    frame.assign(**dates, **numbers).to_csv(
        path, index=False, encoding="utf-8", lineterminator="\n", float_format="%.10g"
    )


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _settings(study: ReadableStudy, files: dict[str, str], not_kept: str) -> str:
    source = study.records.source
    rows = {name: len(frame) for name, frame in sorted(study.tables.items())}
    content = {
        "made_by": MADE_BY,
        "plant": study.records.plant.name,
        "seed": study.seed,
        "settings": study.records.plant.raw,
        "versions": list_versions(),
        "inputs": study.records.hashes,
        "inputs_not_kept": not_kept,
        "read_from": source.name if source.is_file() else "",
        "rows": rows,
        "files": files,
    }
    words = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False, default=_as_json)
    return words + "\n"


def _as_json(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
