"""What became of each ticket that came back, and what it changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from pumplife.records.phrases import squeeze

if TYPE_CHECKING:
    from pumplife.lives.build import Lives
    from pumplife.records.read import Records

ANSWER_COLUMNS = (
    "ticket_id", "pump_id", "done_on", "done", "answer", "what", "failures", "worn",
    "suspensions", "file",
)  # fmt: skip
OUTCOMES = {
    "failed": "failures",
    "failed_between": "failures",
    "worn": "worn",
    "suspended": "suspensions",
}


def answer_tickets(records: Records, lives: Lives, questions: pd.DataFrame) -> pd.DataFrame:
    """Answer the bench, ticket by ticket.

    Parameters
    ----------
    records : Records
        Its `returned` rows.
    lives : Lives
        Its account says what became of the orders; its lives that ended with one are what it
        changed.
    questions : DataFrame
        What only the engineer can settle.

    Returns
    -------
    DataFrame
        `ANSWER_COLUMNS`, empty where no ticket came back. answer: used, used with an assumption,
        question, set aside, not done, or after the records end.
    """
    rows = records.table("returned")
    if rows.empty:
        return pd.DataFrame(columns=list(ANSWER_COLUMNS))
    told = lives.account[lives.account["kind"].eq("ticket")].drop_duplicates("key").set_index("key")
    answers = []
    for row in rows.to_dict("records"):
        answer, what = _answer(
            row, str(row["rebuild_id"]), told, questions, records.plant.records_to
        )
        answers.append(
            {name: row[name] for name in ("ticket_id", "pump_id", "done_on", "done", "file")}
            | {"answer": answer, "what": what}
            | _ended(lives, row, answer)
        )
    table = pd.DataFrame(answers, columns=list(ANSWER_COLUMNS))
    table["what"] = [
        _with_effect(what, row)
        for what, row in zip(table["what"], table.to_dict("records"), strict=True)
    ]
    return table.sort_values(["done_on", "ticket_id"], kind="stable", ignore_index=True)


def _answer(
    row: dict[Any, Any],
    number: str,
    told: pd.DataFrame,
    questions: pd.DataFrame,
    end: pd.Timestamp,
) -> tuple[str, str]:
    """The answer in a word, and what to know."""
    if row["done"] == "no":
        why = str(row["not_done_why"])
        return "not done", f"It stays on the due list{': ' + why if why else ''}."
    if row["done_on"] > end:
        return (
            "after the records end",
            f"It counts once records_to in plant.toml is {row['done_on']:%Y-%m-%d} or later.",
        )
    asked = questions[questions["question"].str.split("|").map(lambda parts: number in parts)]
    if len(asked):
        first = asked.iloc[0]
        return "question", f"{first['what']} Answer {first['question']} in decisions.csv."
    if number not in told.index:
        return "set aside", "No pump or order fits it: see the audit."
    status, reason = (str(told.loc[number, name]) for name in ("status", "reason"))
    return status, reason


def _ended(lives: Lives, row: dict[Any, Any], answer: str) -> dict[str, int]:
    """Lives that ended with that order, by outcome."""
    counts = dict.fromkeys(OUTCOMES.values(), 0)
    if answer in ("not done", "after the records end", "set aside"):
        return counts
    visits = lives.visits[lives.visits["rebuild_id"].eq(row["rebuild_id"])]
    for visit in visits.to_dict("records"):
        at = lives.table[
            lives.table["pump_id"].eq(visit["pump_id"]) & lives.table["end_on"].eq(row["done_on"])
        ]
        mine = at[(";" + at["source_rows"].astype(str)).str.endswith(f";{visit['rows']}")]
        for outcome, number in mine["outcome"].value_counts().items():
            counts[OUTCOMES[str(outcome)]] += int(number)
    return counts


def _with_effect(what: str, row: dict[Any, Any]) -> str:
    """Say beside the reason what the ticket adds to the lives."""
    nouns = {
        "failures": ("failure", "failures"),
        "worn": ("part pulled as worn", "parts pulled as worn"),
        "suspensions": ("part that had not failed", "parts that had not failed"),
    }
    parts = [f"{row[name]} {noun[row[name] != 1]}" for name, noun in nouns.items() if row[name]]
    if not parts:
        return what
    added = f"It adds {', '.join(parts)} to the lives of parts."
    return f"{what} {added}".strip()


def close_due(due: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Mark the due rows whose work a ticket says is done, though the records end before.

    A ticket's number ends with the day that was planned, which may have moved since: pump and
    side tell the row. Work done in part stays due.
    """
    done = answers[answers["answer"].eq("after the records end") & answers["done"].ne("partly")]
    side = (
        done["ticket_id"]
        .str.extract(r"(?i)-([FA])-\d{8}$")[0]
        .str.upper()
        .map({"F": "fluid", "A": "air"})
    )
    own = dict(zip(due["ticket_id"].map(squeeze), due["side"], strict=True))
    side = side.fillna(done["ticket_id"].map(squeeze).map(own))
    day = done["done_on"].groupby([done["pump_id"].map(squeeze), side]).max()
    rows = pd.MultiIndex.from_arrays([due["pump_id"].map(squeeze), due["side"]])
    return due.assign(closed_on=pd.to_datetime(day.reindex(rows).to_numpy()))
