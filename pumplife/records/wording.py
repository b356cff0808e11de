"""Check what plant.toml says about the plant's own files, headings and words."""

from collections.abc import Iterable
from typing import Any

from pumplife.errors import SettingError
from pumplife.records.cells import ORDERS
from pumplife.records.phrases import find_near
from pumplife.records.schema import Table
from pumplife.records.tables import TABLES
from pumplife.records.texts import TARGETS


def check_wording(raw: dict[str, Any]) -> None:
    """Check [files], [columns], [codes], [text], [dates] and [numbers].

    Parameters
    ----------
    raw : dict
        The settings as read.

    Raises
    ------
    SettingError
        When a line names a table, column, code or choice that isn't ours.
    """
    for section in ("files", "columns", "codes", "text"):
        tables = ("rebuilds", "findings") if section == "text" else TABLES
        for name in raw.get(section, {}):
            _among(name, tables, f"[{section}] {name}", "no table has that name")
    for name, mapping in raw.get("columns", {}).items():
        for theirs, ours in mapping.items():
            where = f'[columns.{name}] "{theirs}" = "{ours}"'
            _among(ours, TABLES[name].headings, where, f"{name} has no column {ours}")
    for name, columns in raw.get("codes", {}).items():
        for column, words in columns.items():
            where = f"[codes.{name}.{column}]"
            _among(column, TABLES[name].headings, where, f"{name} has no column {column}")
            _check_codes(TABLES[name], column, words, where)
    _check_files(raw.get("files", {}))
    for name, columns in raw.get("text", {}).items():
        _check_texts(name, columns)
    _check_choice(raw, "dates", "order", ORDERS)
    _check_choice(raw, "numbers", "decimal", ("point", "comma"))


def _check_files(files: dict[str, Any]) -> None:
    for name, value in files.items():
        listed = value if isinstance(value, list) else [value]
        if not listed or not all(isinstance(one, str) and one for one in listed):
            raise SettingError(
                f'plant.toml: [files] {name} must be a file, "a.csv", or a list of files, '
                '["a.csv", "b.csv"].'
            )


def _check_texts(name: str, columns: dict[str, Any]) -> None:
    """Check that a text fills only columns that a text may fill."""
    known = [target for target in TARGETS if target in TABLES[name].headings]
    for column, targets in columns.items():
        where = f'[text.{name}] "{column}"'
        if not isinstance(targets, list):
            raise SettingError(
                f'plant.toml: {where} must be a list of columns, like ["failed_part", "reason"].'
            )
        trouble = f"only {', '.join(known)} may be read from a text"
        for target in targets:
            _among(target, known, f"{where} = {target}", trouble)


def _check_codes(table: Table, column: str, words: dict[str, str], where: str) -> None:
    codes = table.column(column).codes
    for theirs, ours in words.items() if codes else ():
        trouble = f"{column} is one of {', '.join(codes)}"
        _among(ours, codes, f'{where} "{theirs}" = "{ours}"', trouble)


def _among(word: str, known: Iterable[str], where: str, trouble: str) -> None:
    if word in known:
        return
    near = find_near(str(word), known, likeness=0.6)
    hint = f" Did you mean {near}?" if near else ""
    raise SettingError(f"plant.toml: {where} can't be used, because {trouble}.{hint}")


def _check_choice(raw: dict[str, Any], section: str, name: str, choices: tuple[str, ...]) -> None:
    given = raw.get(section, {}).get(name, choices[0])
    if given not in choices:
        raise SettingError(
            f'plant.toml: [{section}] {name} = "{given}" must be one of {", ".join(choices)}.'
        )
