"""Write an empty plant folder to fill in."""

from importlib.resources import files
from pathlib import Path

from pumplife.errors import OutputError
from pumplife.records.schema import Column, Table
from pumplife.records.tables import TABLES

_FIRST_STEPS = """\
How to fill this folder
=======================
1. plant.toml: write usage_unit, records_from and records_to; then the costs you know.
2. pumps.csv: one row per pump; pump_id and service (of several, site) are needed, the rest helps.
3. rebuilds.csv: one row per order, pump and kit; order number, pump, date and reason are needed.
   A blank cell means "not written", the word none means "none".
4. readings.csv: meter readings. Without them, write use_per_week in pumps.csv.
5. kits.csv, parts.csv, kit_contents.csv: what a kit renews, and prices.
6. on_hand.csv, on_order.csv: what lies in the stores and what is coming.
7. Everything else can wait. Tables that stay empty do no harm; delete them if you like.
8. Your own files, headings and words can stay: pumplife new FOLDER --from EXPORT maps them.
9. Dates: 2025-12-31, or your own order if a column can show it. Decimal point or comma.
10. Files may be CSV or .xlsx. One workbook with a sheet per table works too: put plant.toml
    beside the workbook, or add a sheet named plant with the columns section, key and value.
"README columns.txt" explains every column.
"""


def write_template(folder: Path | str) -> list[Path]:
    """Write an empty plant folder: settings, a file per table and notes on filling it in.

    Parameters
    ----------
    folder : Path or str
        A folder that doesn't exist yet or is empty.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    OutputError
        When the folder isn't empty or can't be written.
    """
    folder = Path(folder)
    texts = {
        "plant.toml": _settings_text(),
        "README.txt": _FIRST_STEPS,
        "README columns.txt": describe_tables(),
    }
    texts |= {f"{name}.csv": ",".join(table.headings) + "\n" for name, table in TABLES.items()}
    make_folder(folder)
    try:
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as problem:
        raise OutputError(
            f"The folder {folder} can't be written ({problem.strerror}): choose another one."
        ) from problem
    return [folder / name for name in texts]


def make_folder(folder: Path) -> None:
    """Make a folder to write into.

    Raises
    ------
    OutputError
        When it isn't empty or can't be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        filled = any(folder.iterdir())
    except OSError as problem:
        raise OutputError(
            f"The folder {folder} can't be written ({problem.strerror}): choose another one."
        ) from problem
    if filled:
        raise OutputError(
            f"The folder {folder} isn't empty: name a new folder, so that nothing is overwritten."
        )


def _settings_text() -> str:
    return files("pumplife.records").joinpath("plant_template.toml").read_text(encoding="utf-8")


def describe_tables() -> str:
    """Explain every column of every table."""
    return "\n".join(_describe_table(table) for table in TABLES.values())


def _describe_table(table: Table) -> str:
    lines = [f"{table.name}: {table.meaning}"]
    lines += [f"  {_describe_column(column)}" for column in table.columns]
    return "\n".join(lines) + "\n"


def _describe_column(column: Column) -> str:
    needed = " (needed)" if column.required else ""
    needed = f" (needed, or {column.instead})" if column.instead else needed
    codes = " / ".join(column.codes)
    told = "; ".join(word for word in (column.meaning, codes) if word)
    return f"{column.name}{needed}: {told}" if told else f"{column.name}{needed}"
