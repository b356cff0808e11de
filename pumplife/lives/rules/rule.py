"""What a rule over histories is, and how the listed rules are run."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import pandas as pd

from pumplife.lives.rules.story import Story
from pumplife.records.read import Records
from pumplife.records.second import in_turn

FOUND_COLUMNS = ["table", "row", "pump_id", "what"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One check of what the plant wrote, in words for the audit and for `audit --rules`.

    Attributes
    ----------
    name : str
        As in the audit's column `rule`.
    severity : str
        stop, caution or note.
    looks_for : str
        What it finds, as a sentence.
    does : str
        What the study does about it; the consequence in the audit.
    remedy : str
        What to do.
    find : callable
        From a `Story` to the rows found: table, row, pump_id, what, and where it asks something
        also question and choices. None for a check that runs where the records are read.
    """

    name: str
    severity: str
    looks_for: str
    does: str
    remedy: str
    find: Callable[[Story], pd.DataFrame] | None = field(default=None, repr=False)


def tell(rows: pd.DataFrame, table: str, what: str | Sequence[str]) -> pd.DataFrame:
    """Give rows the shape of a finding.

    Parameters
    ----------
    rows : DataFrame
        With row and pump_id, and question and choices where something is asked.
    table : str
        Where they stand.
    what : str or sequence of str
        The finding, one sentence for all or one for each.
    """
    asked = [name for name in ("question", "choices") if name in rows]
    told: dict[str, object] = {"row": rows["row"].to_numpy()}
    told |= {name: rows[name].to_numpy(object) for name in ("pump_id", *asked)}
    told |= {"table": table, "what": what if isinstance(what, str) else list(what)}
    return pd.DataFrame(told, index=rows.index)


def run_rules(rules: Iterable[Rule], story: Story) -> None:
    """Run the rules over a story; the audit gets a row for everything found.

    What a decision has settled is left out; what is asked goes to the questions of the log.
    """
    looking = [(rule, rule.find) for rule in rules if rule.find is not None]
    rows = len(story.readings) + len(story.tickets)
    all_found = in_turn(lambda one: one[1](story), looking, rows)
    for (rule, _), found in zip(looking, all_found, strict=True):
        _log_found(rule, found, story.records)


def _log_found(rule: Rule, found: pd.DataFrame, records: Records) -> None:
    if found.empty:
        return
    if "question" in found:
        records.log.ask(found, consequence=rule.does)
        found = found[~found["question"].isin(records.settled)]
    for table, rows in found.groupby("table", sort=False):
        records.log.add_rows(
            rows,
            severity=rule.severity,
            rule=rule.name,
            table=str(table),
            what=list(rows["what"]),
            consequence=rule.does,
            remedy=rule.remedy,
        )
