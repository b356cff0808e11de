"""The account: every ticket, finding and part position is used, assumed or set aside, and why."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.blocks import Block
from pumplife.lives.history import Gathered, History
from pumplife.lives.open_points import QUESTIONS
from pumplife.lives.points import BEGIN, Points
from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.phrases import count_of

USED, ASSUMED, ASIDE = "used", "used with an assumption", "set aside"
STATUSES = (USED, ASSUMED, ASIDE)
ACCOUNT_COLUMNS = ["kind", "key", "pump_id", "rows", "count", "status", "reason"]
TICKET_ASIDE = "Ticket set aside."
FROM_TEXT = "What it says was read from its free text."
KINDS = {"ticket": "rebuilds", "finding": "findings"}
NOUNS = {"ticket": "ticket rows", "finding": "findings", "position": "stretches of part positions"}


def make_account(gathered: Gathered, asked: pd.DataFrame, blocks: Sequence[Block]) -> pd.DataFrame:
    """Say what became of every ticket row, every finding and every stretch of a position.

    Parameters
    ----------
    gathered : Gathered
        Tickets, issues and findings on visits.
    asked : DataFrame
        Visits that leave a question open, see `open_questions`.
    blocks : sequence of Block
        What was built of the lives.

    Returns
    -------
    DataFrame
        `ACCOUNT_COLUMNS`: kind (ticket / finding / position); key (the order, the part found,
        the part and its position); rows (of the source); count (rows of the source, or stretches
        of the position between two points in its story); status, one of `STATUSES`; reason.
        Whatever was received is in exactly one row.
    """
    told = pd.concat([block.told for block in blocks])
    tickets = _account_tickets(gathered, asked, told)
    findings = pd.concat([block.findings for block in blocks])
    account = pd.concat(
        [
            tickets,
            _unread(gathered, "ticket"),
            _account_findings(gathered, tickets, findings),
            _unread(gathered, "finding"),
            *(block.positions for block in blocks),
        ],
        ignore_index=True,
    )[ACCOUNT_COLUMNS]
    _say_sums(gathered, account)
    return account


def _account_tickets(
    gathered: Gathered, asked: pd.DataFrame, came: "pd.Series[str]"
) -> pd.DataFrame:
    """One row per ticket that was read; those not in use with the reason from the audit."""
    records = gathered.records
    tickets = records.table("rebuilds").reset_index(drop=True)
    visit = gathered.tickets["visit"].reindex(tickets.index).fillna(-1).astype(int)
    pump = tickets["pump"].to_numpy(np.int64)
    lost = (visit >= 0).to_numpy() & ~gathered.clock.known[pump]
    first = list(QUESTIONS)
    asked = asked.sort_values("rule", key=lambda rules: rules.map(first.index), kind="stable")
    rule = asked.drop_duplicates("visit").set_index("visit")["rule"]
    doubt = visit.map(rule.map({rule: words[0] for rule, words in QUESTIONS.items()})).fillna("")
    doubt = doubt.mask(tickets["from_text"] & doubt.eq(""), FROM_TEXT)
    words = np.full(len(gathered.visits) + 1, "", dtype=object)
    words[came.index] = came
    told = words[visit]
    unused = (visit < 0).to_numpy()
    outside = _reasons(records.log, "rebuilds", TICKET_ASIDE)
    own = records.log.places(tickets[unused], "rebuilds")
    why = np.full(len(tickets), "", dtype=object)
    why[unused] = outside.reindex(own).fillna("It names no pump.")
    undone = tickets["done"].eq("no").to_numpy()
    aside = unused | lost | undone
    return pd.DataFrame(
        {
            "kind": "ticket",
            "key": tickets["rebuild_id"],
            "pump_id": tickets["pump_id"],
            "rows": tickets["row"].astype(str),
            "count": 1,
            "status": np.select([aside, doubt != ""], [ASIDE, ASSUMED], USED),
            "reason": np.select(
                [unused, lost, undone, doubt != ""],
                [why, "The usage of its pump isn't known.", "The work was not done.", doubt],
                told,
            ),
        }
    )


def what_came_of_visits(history: History, spans: pd.DataFrame) -> NDArray[np.object_]:
    """What each visit gave, in words: lives ended, and why a breakdown counts no failure."""
    judged = spans[["visit", "failed", "masked"]]
    ended = judged[(spans["visit"] >= 0).to_numpy() & spans["keep"].to_numpy()]
    visits, count = history.visits, len(history.visits)
    visit = ended["visit"].to_numpy(np.int64)
    lives = np.bincount(visit, minlength=count)
    failed = np.bincount(visit[(ended["failed"] | ended["masked"]).to_numpy()], minlength=count)
    code, pairs = pd.factorize(lives * 1000 + failed)
    words = [_say_ended(*divmod(int(pair), 1000)) for pair in pairs]
    told = np.array(words, dtype=object)[code]
    first = history.tickets.loc[~history.tickets["visit"].duplicated(), ["visit", "failed_part"]]
    none_failed = np.zeros(count, dtype=bool)
    none_failed[first["visit"]] = first["failed_part"].eq("none")
    told[visits["reason"].eq("stoppage").to_numpy()] = "A stoppage is no failure."
    silent = visits["reason"].eq("breakdown").to_numpy() & (failed == 0)
    told[silent] += np.where(
        none_failed[silent],
        " The ticket says that no part failed.",
        " No failure counts: the age of the part that failed isn't known.",
    )
    return np.asarray(told)


def _say_ended(lives: int, failed: int) -> str:
    if not lives:
        return "No life ended here."
    ends = f"{count_of(failed, 'failure')} and {count_of(lives - failed, 'suspension')}"
    return f"Lives that ended here: {ends}."


def _account_findings(
    gathered: Gathered, tickets: pd.DataFrame, placed: pd.DataFrame
) -> pd.DataFrame:
    """One row per finding that was read."""
    findings = gathered.records.table("findings").reset_index(drop=True)
    placed = placed.reindex(findings.index)
    order = findings["rebuild_id"]
    status_of = tickets[tickets["key"].isin(order)].drop_duplicates("key").set_index("key")
    unused = order.map(status_of["status"]).eq(ASIDE).to_numpy()
    pump = placed["visit"].map(gathered.visits.set_index("visit")["pump"]).fillna(-1).astype(int)
    reason = np.select(
        [
            ~placed["visit"].ge(0).to_numpy() & unused,
            ~placed["visit"].ge(0).to_numpy(),
            ~np.append(gathered.clock.known, True)[pump],
            placed["visit"].map(gathered.visits.set_index("visit")["done"]).eq("no").to_numpy(),
            ~placed["placed"].eq(True).to_numpy(),
        ],
        [
            "Its order is set aside.",
            "No ticket in use has its order and pump.",
            "The usage of its pump isn't known.",
            "Its order was not done.",
            "The pump has no such wearing part: condition parts have no lives.",
        ],
        "",
    )
    loose = placed["loose"].eq(True).to_numpy() & (reason == "")
    place = (findings["part"] + " " + findings["position"]).str.strip()
    return pd.DataFrame(
        {
            "kind": "finding",
            "key": order + ": " + place,
            "pump_id": findings["pump_id"],
            "rows": findings["row"].astype(str),
            "count": 1,
            "status": np.select([reason != "", loose], [ASIDE, ASSUMED], USED),
            "reason": np.where(loose, "Which of those alike it was isn't written.", reason),
        }
    )


def _unread(gathered: Gathered, kind: str) -> pd.DataFrame:
    """Rows that were set aside when they were read, with the reason from the audit."""
    records, table = gathered.records, KINDS[kind]
    audit = records.log.frame()
    told = audit[audit["table"].eq(table) & audit["consequence"].eq(SET_ASIDE)]
    told = told.dropna(subset=["row"])
    source = records.log.places(told, table)
    kept = source.isin(records.log.places(records.table(table), table))
    told = told[~source.duplicated() & ~kept]
    return pd.DataFrame(
        {
            "kind": kind,
            "key": "",
            "pump_id": told["pump_id"].to_numpy(object),
            "rows": told["row"].astype(str).to_numpy(object),
            "count": 1,
            "status": ASIDE,
            "reason": told["what"].to_numpy(object),
        }
    )


def _reasons(log: AuditLog, table: str, consequence: str) -> "pd.Series[str]":
    """Why rows of a table were set aside, by file and row."""
    audit = log.frame()
    told = audit[audit["table"].eq(table) & audit["consequence"].eq(consequence)]
    told = told.dropna(subset=["row"])
    source = log.places(told, table)
    first = ~source.duplicated()
    return pd.Series(told["what"].to_numpy(object)[first], index=source[first], dtype=object)


def account_positions(history: History, points: Points, spans: pd.DataFrame) -> pd.DataFrame:
    """One row per position, status and reason, counting its stretches."""
    status, reason = judge_stretches(history, points, spans)
    of_status, of_reason = len(status.categories), len(reason.categories)
    kind = spans["pos"].to_numpy(np.int64) * of_status + status.codes
    number = np.bincount(kind * of_reason + reason.codes)
    told = np.flatnonzero(number)
    pos = told // (of_status * of_reason)
    place = history.positions.iloc[pos]
    pump_id = history.records.pumps["pump_id"].to_numpy(object)[place["pump"]]
    return pd.DataFrame(
        {
            "pos": pos,
            "status": status.categories.to_numpy(object)[told // of_reason % of_status],
            "reason": reason.categories.to_numpy(object)[told % of_reason],
            "count": number[told],
            "kind": "position",
            "key": (place["side"] + " side: " + place["part"] + " " + place["position"]).to_numpy(
                object
            ),
            "pump_id": pump_id,
            "rows": "",
        }
    )


def judge_stretches(
    history: History, points: Points, spans: pd.DataFrame
) -> tuple[pd.Categorical, pd.Categorical]:
    """Status and reason of every stretch, the first that applies."""
    pump = spans["pump"].to_numpy(np.int64)
    known = history.clock.known[pump]
    begun = points.kind[points.state[spans["start"].to_numpy(np.int64)]] == BEGIN
    cases = (
        (~known, ASIDE, "The usage of the pump isn't known."),
        ((~spans["known"] & begun), ASIDE, "Fitted on an unknown day before the records."),
        (~spans["known"], ASIDE, "Its age isn't known since a visit whose renewals nobody wrote."),
        (spans["unequal"], ASIDE, QUESTIONS["position_not_named"][0]),
        (spans["doubtful"], ASIDE, QUESTIONS["reason_not_known"][0]),
        (spans["blind"], ASIDE, QUESTIONS["found_failed_unseen_before"][0]),
        (spans["unseen_alive"], ASIDE, "Nobody saw it sound between its entry and a move."),
        (~spans["keep"], ASIDE, "The pump didn't run between its two ends."),
        (spans["shared"], ASSUMED, QUESTIONS["position_shared"][0]),
        (spans["masked"], ASSUMED, QUESTIONS["part_not_named"][0]),
        (spans["unnamed"], ASSUMED, "One of several alike of one age failed; nobody wrote which."),
        (spans["grade"].eq("assumed"), ASSUMED, "Most of its usage is assumed."),
    )  # fmt: skip
    code = np.full(len(spans), len(cases))
    for number, (applies, _, _) in reversed(list(enumerate(cases))):
        code[np.asarray(applies, dtype=bool)] = number
    names = [*(case[1] for case in cases), USED]
    words = [*(case[2] for case in cases), ""]
    status: Any = np.array([STATUSES.index(name) for name in names])[code]
    reason: Any = code
    return (
        pd.Categorical.from_codes(status, pd.Index(STATUSES)),
        pd.Categorical.from_codes(reason, pd.Index(words)),
    )


def _say_sums(gathered: Gathered, account: pd.DataFrame) -> None:
    """One audit row per kind with its sums, and a caution where they don't add up."""
    records = gathered.records
    sums = account.groupby(["kind", "status"])["count"].sum()
    for kind, noun in NOUNS.items():
        parts = [int(sums.get((kind, status), 0)) for status in STATUSES]
        table = KINDS.get(kind, "")
        received = len(records.table(table)) + records.aside.get(table, 0) if table else sum(parts)
        told = f"{parts[0]} used, {parts[1]} used with an assumption, {parts[2]} set aside."
        even = sum(parts) == received
        records.log.add(
            "note" if even else "caution",
            f"Of {received} {noun}: {told}",
            rule="account",
            table=table,
            consequence="The table account says of each which, and why."
            if even
            else f"{received - sum(parts)} of them are not accounted for.",
            remedy="" if even else "Compare the table account with the source.",
        )
