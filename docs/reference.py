"""Write the reference pages from what the code itself reads, writes, checks and offers."""

import importlib
import re
from collections.abc import Iterable, Sequence
from importlib.resources import files
from pathlib import Path

import pandas as pd

import pumplife
from pumplife.cli import _parser
from pumplife.records.audit import SEVERITIES
from pumplife.records.polymers import polymers
from pumplife.records.schema import Column, Table
from pumplife.records.tables import TABLES
from pumplife.report.rulebook import list_rules
from pumplife.report.titles import TABLES as OUTPUT
from pumplife.report.words import UNIT_OF_KIND, Units, find_heading

HERE = Path(__file__).resolve().parent
SHARES = {"share": "of 1", "chance": "of 1"}
UNITS = Units(usage="usage", currency="money", rate="rate unit")

COLUMNS_OF = {
    "audit": "records.audit.AUDIT_COLUMNS",
    "bridge": "stock.bridge.BRIDGE_COLUMNS",
    "booked": "stock.booked.BOOKED_COLUMNS",
    "changes": "since.changes.CHANGE_COLUMNS",
    "kpi": "since.kpi.KPI_COLUMNS",
    "material_costs": "materials.priced.COST_COLUMNS",
    "materials": "materials.table.MATERIAL_COLUMNS",
    "on_condition": "stock.on_condition.SHARE_COLUMNS",
    "outage": "policy.outage.OUTAGE_COLUMNS",
    "pooling": "stock.pooling.POOLING_COLUMNS",
    "questions": "lives.questions.QUEUE_COLUMNS",
    "rewind": "rewind.rewind.REWIND_COLUMNS",
    "rewind_years": "rewind.years.YEAR_COLUMNS",
    "rotables": "stock.rotables.ROTABLE_COLUMNS",
    "shelf": "stock.cure_dates.SHELF_COLUMNS",
    "shocks": "lives.events.SHOCK_COLUMNS",
    "ticket_answers": "ticket.answer.ANSWER_COLUMNS",
    "transfers": "stock.transfers.TRANSFER_COLUMNS",
    "trial_looks": "materials.trial_follow.LOOK_COLUMNS",
    "trial_plans": "materials.trial_plans.PLAN_COLUMNS",
    "trial_power": "materials.trial_plans.POWER_COLUMNS",
    "trials": "materials.trial_follow.TRIAL_COLUMNS",
}
"""Where the columns of a table stand that the tutorial's plant has no rows for."""

WRITTEN = {
    "text": "words",
    "number": "number",
    "date": "date",
    "code": "one of",
    "yes_no": "one of",
}
ROOMS = {
    "The whole job": ("study", "report", "rewind"),
    "Looking at the advice": ("policy",),
    "Lives": ("weibull",),
    "Materials and trials": ("materials",),
    "What can go wrong": ("errors",),
}


def write_pages(folder: Path, *, results: Path) -> None:
    """Write every reference page.

    Parameters
    ----------
    folder : Path
        Made here.
    results : Path
        What a study wrote: its tables show their columns.
    """
    folder.mkdir(exist_ok=True)
    pages = {
        "input": describe_input(),
        "settings": describe_settings(),
        "output": describe_output(results),
        "checks": describe_checks(),
        "command_line": describe_commands(),
        "python": describe_python(),
        "materials": describe_materials(),
        "words": describe_words(),
    }
    for name, text in pages.items():
        (folder / f"{name}.md").write_text(text, encoding="utf-8")


def make_table(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Give a Markdown table; what would end a cell is escaped."""
    lines = [headings, ["---"] * len(headings), *rows]
    return "\n".join(f"| {' | '.join(map(_cell, line))} |" for line in lines) + "\n"


def _cell(value: object) -> str:
    text = str(value)
    return re.sub(r"([|_<\[\]]|(?<!\*)\*(?!\*))", r"\\\1", text) if "`" not in text else text


def describe_input() -> str:
    """Tables and columns of a plant folder."""
    told = [
        "# Tables of the plant folder\n",
        "One CSV file or sheet each. Only `pumps` and `rebuilds` are required; every other table "
        "buys something more, see [your own plant](../readme.md#your-own-plant). A blank cell is "
        "“not written”, the word none is “none”. Dates are written 2025-12-31, or in the "
        "plant's own order where a column shows it.\n",
        "`pumplife new FOLDER` writes these explanations and empty tables.\n",
    ]
    for table in TABLES.values():
        needed = " Required." if table.required else ""
        key = f" Key: {', '.join(f'`{name}`' for name in table.key)}." if table.key else ""
        rows = [(f"`{c.name}`", c.meaning or "–", _written(c), _need(c)) for c in table.columns]
        told += [f"## {table.name}\n", f"{_sentence(table)}{needed}{key}\n"]
        told.append(make_table(("Column", "What it means", "Written as", "Needed"), rows))
    return "\n".join(told)


def _sentence(table: Table) -> str:
    return f"{table.meaning[:1].upper()}{table.meaning[1:]}."


def _written(column: Column) -> str:
    codes = ", ".join(f"`{code}`" for code in column.codes)
    signed = ", may be below 0" if column.signed else ""
    return f"{WRITTEN[column.kind]} {codes}".strip() + signed


def _need(column: Column) -> str:
    return f"yes, or `{column.instead}`" if column.instead else "yes" if column.required else ""


def describe_settings() -> str:
    """Settings of plant.toml, section by section, as the template explains them."""
    template = files("pumplife.records").joinpath("plant_template.toml").read_text("utf-8")
    top, *blocks = re.split(r"\n\n(?=(?:#[^\n]*\n)*(?:# )?\[)", template.strip())
    intro = " ".join(line.lstrip("# ") for line in top.splitlines())
    told = ["# Settings: plant.toml\n", intro + "\n"]
    seen = set()
    for block in blocks:
        section = re.search(r"^(?:# )?\[([^.\]]+)", block, re.MULTILINE)
        name = section[1] if section else ""
        told += [] if name in seen else [f"## {name}\n"]
        seen.add(name)
        told.append(f"```toml\n{block}\n```\n")
    return "\n".join(told)


def describe_output(results: Path) -> str:
    """Tables that a study writes, and their columns in words and units."""
    found = {path.stem: path for path in sorted((results / "tables").glob("*.csv"))}
    names = [*OUTPUT, *(name for name in (*found, *COLUMNS_OF) if name not in OUTPUT)]
    told = [
        "# Tables that a study writes\n",
        "Each is a file in `tables/` and a sheet of `study.xlsx`; a table that a plant gives no "
        "reason for is left out. Usage stands in the plant's own unit (running hours, cycles or "
        "days), money in its currency; cost rates are money per 1,000 h, per million cycles or "
        "per 1,000 days. Bands are 90 % unless a column says otherwise. Same folder and seed, "
        "same bytes.\n",
    ]
    for name in dict.fromkeys(names):
        title, sentence = OUTPUT.get(name, (name.replace("_", " ").capitalize(), ""))
        told += [f"({name}-table)=\n## {title}\n", f"`tables/{name}.csv`. {sentence}\n"]
        rows = [_output_row(name, column) for column in _columns(name, found.get(name))]
        if rows:
            told.append(make_table(("Column", "What it says", "Unit", "Blank means"), rows))
    return "\n".join(told)


def _columns(table: str, file: Path | None) -> list[str]:
    if file is not None:
        return list(pd.read_csv(file, nrows=0).columns)
    if table not in COLUMNS_OF:
        return []
    module, _, name = COLUMNS_OF[table].rpartition(".")
    return list(getattr(importlib.import_module(f"pumplife.{module}"), name))


def _output_row(table: str, column: str) -> tuple[str, str, str, str]:
    heading = find_heading(table, column)
    unit = (UNIT_OF_KIND | SHARES).get(heading.kind, "")
    unit = unit.format(usage=UNITS.usage, currency=UNITS.currency, rate=UNITS.rate)
    return f"`{column}`", heading.words, unit, heading.blank if heading.blank != "–" else ""


def describe_checks() -> str:
    """Every check of the records: what it looks for, what follows, what to do."""
    rules = list_rules()
    told = [
        "# Checks of the records\n",
        f"{len(rules)} checks can write a row of the audit; `pumplife audit --rules` lists them "
        "too. Nothing is dropped or changed without such a row.\n",
    ]
    meanings = {
        "stop": "The study, or the part named, can't go on.",
        "caution": "Something was set aside or assumed that may move the answer.",
        "note": "Worth knowing; usually nothing to do.",
    }
    for severity in SEVERITIES:
        rows = [
            (f"`{rule.name}`", rule.looks_for, rule.does, rule.remedy)
            for rule in rules
            if rule.severity == severity
        ]
        told += [f"## {severity}\n", f"{meanings[severity]}\n"]
        told.append(make_table(("Rule", "Looks for", "The study", "To do"), rows))
    return "\n".join(told)


def describe_commands() -> str:
    """The command line, job by job."""
    parser = _parser()
    (jobs,) = [action for action in parser._actions if action.dest == "job"]
    told = [
        "# Command line\n",
        "Exit code 0: done. 1: the records stop the study, and the audit says why. 2: a wrong "
        "call; nothing was written.\n",
    ]
    told += [f"```text\n{parser.format_help()}```\n"]
    for name, job in (jobs.choices or {}).items():
        told += [f"## {name}\n", f"```text\n{job.format_help()}```\n"]
    return "\n".join(told)


def describe_python() -> str:
    """The public names, from their docstrings."""
    told = [
        "# Python\n",
        "Everything that the command line does, and the numbers behind it: `import pumplife`. "
        "Names are loaded when they are first used.\n",
    ]
    homes = {name: home.split(".")[0] for name, home in pumplife._HOMES.items()}
    for title, rooms in ROOMS.items():
        names = [name for name in pumplife.__all__ if homes[name] in rooms]
        names.sort(
            key=lambda name: (isinstance(getattr(pumplife, name), type), name != "run_study")
        )
        lines = [_directive(name) for name in names]
        told += [f"## {title}\n", "```{eval-rst}", "\n".join(lines), "```\n"]
    return "\n".join(told)


def _directive(name: str) -> str:
    what = getattr(pumplife, name)
    if not isinstance(what, type):
        return f".. autofunction:: pumplife.{name}\n"
    if issubclass(what, Exception):
        return f".. autoexception:: pumplife.{name}()\n   :show-inheritance:\n"
    call = "" if name == "TrialDesign" else "()"
    return f".. autoclass:: pumplife.{name}{call}\n   :members:\n"


def describe_materials() -> str:
    """Codes of materials, and how long parts of them may lie in a store."""
    table = polymers()
    sources = sorted({source for source in table["source"] if "/" in source})
    columns = ["code", "name", "after", "storage_class", "edition", "years", "more", "note"]
    table = table.assign(
        code="`" + table["code"] + "`",
        years=table["initial_years"].map(_years, na_action="ignore").fillna(""),
        more=table["extension_years"].map(_years, na_action="ignore").fillna(""),
    )
    rows = table[columns].to_numpy().tolist()
    head = ("Code", "Name", "Code after", "Class", "Edition", "Years", "More by test", "Note")
    told = [
        "# Materials by code\n",
        "Rubbers by ISO 1629 / ASTM D1418, thermoplastic elastomers by ISO 18064, plastics by "
        "ISO 1043-1. Storage lives are those of ISO 2230:2002 as public summaries give them, in "
        "years from the cure date: check against your edition. Yours go into `shelf_life_years` "
        "of [parts](input.md#parts) or into [`[storage]`](settings.md#storage), and come first. "
        "A material of layers (EPDM/PTFE) has the shortest life of them.\n",
        make_table(head, rows),
        f"Summaries seen: {'; '.join(sources)}.\n",
    ]
    return "\n".join(told)


def _years(value: float) -> str:
    return "no limit" if value == float("inf") else f"{value:g}"


def describe_words() -> str:
    """Words and symbols, their units and meanings, from one list."""
    words = pd.read_csv(HERE / "words.csv", keep_default_na=False)
    unit = words["unit"].map(lambda unit: f" [{unit}]" if unit else "")
    named = "**" + words["word"] + "** " + words["symbol"]
    rows = zip(named, words["meaning"] + unit, strict=True)
    told = [
        "# Words and symbols\n",
        "The same word means the same thing on the page, in the workbook, the tickets, the "
        "notebooks and here. Columns of tables are explained [table by table](output.md).\n",
        make_table(("Word, symbol", "Meaning [unit]"), rows),
    ]
    return "\n".join(told)
