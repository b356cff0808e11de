"""The queue of what only the plant's engineer can settle, dearest first."""

import numpy as np
import pandas as pd

from pumplife.lives.positions import LABELS, wearing_parts
from pumplife.records.decisions import KINDS, note_idle
from pumplife.records.phrases import list_some
from pumplife.records.questions import QUESTION_COLUMNS, question_ids
from pumplife.records.read import Records

QUEUE_COLUMNS = [*QUESTION_COLUMNS, "money", "money_from", "answer_line"]
FROM_AUDIT = {
    "part_not_named": "part",
    "kit_not_written": "kit",
    "position_shared": "position",
    "position_not_named": "position",
    "reason_not_known": "reason",
    "failed_and_kept": "kept",
    "unrecorded_exchange": "meter",
}
"""Rules whose rows are questions, and their kind."""
PUMP_KINDS = ("meter", "unit", "move")
"""Kinds on which all ages of a pump hang."""


def list_questions(records: Records) -> pd.DataFrame:
    """List the open questions of the log and of the account of tickets.

    Cautions of decisions that no question asks for any more.

    Returns
    -------
    DataFrame
        `QUEUE_COLUMNS`, the dearest first; money is NaN where costs or prices aren't given.
    """
    if records.fatal:
        return pd.DataFrame(columns=QUEUE_COLUMNS, dtype=object)
    audit = _without_rollovers(records, records.log.rows_of(FROM_AUDIT))
    for rule, kind in FROM_AUDIT.items():
        rows = audit[audit["rule"].eq(rule)]
        if len(rows):
            _ask(records, kind, rows)
    asked = records.log.questions()
    note_idle(records.table("decisions"), records.settled, set(asked["question"]), records.log)
    asked = asked[~asked["question"].isin(records.settled)].reset_index(drop=True)
    asked = asked.join(_stakes(records, asked))
    lines = [f'"{question}",ANSWER,YOUR NAME,YYYY-MM-DD,' for question in asked["question"]]
    asked = asked.assign(answer_line=lines)
    ordered = asked.sort_values(
        ["money", "question"], ascending=[False, True], kind="stable", ignore_index=True
    )
    return ordered[QUEUE_COLUMNS]


def _without_rollovers(records: Records, audit: pd.DataFrame) -> pd.DataFrame:
    """Ask nothing more of a meter whose digits are asked for: one answer may settle all."""
    counters = records.log.rows_of(["counter_rolled_over"])["pump_id"]
    broken = audit["rule"].eq("unrecorded_exchange") & audit["pump_id"].isin(counters)
    return audit[~broken]


def _ask(records: Records, kind: str, rows: pd.DataFrame) -> None:
    """Turn audit rows into questions of a kind."""
    if kind == "meter":
        asked = _meter_questions(records, rows)
    else:
        asked = _ticket_questions(records, kind, rows)
    for consequence, group in asked.groupby("consequence", sort=False):
        records.log.ask(group.drop(columns="consequence"), consequence=str(consequence))


def _ticket_questions(records: Records, kind: str, rows: pd.DataFrame) -> pd.DataFrame:
    rebuilds = records.table("rebuilds")
    cells = rebuilds[["row", "pump_id", "rebuild_id", "kit", "failed_part", "file"]]
    asked = _same_row(rows.drop(columns=["rule", "severity", "remedy"]), cells)
    if kind == "position":
        asked = asked.assign(part=_parts_in_doubt(records, asked))
        asked = asked[asked["part"].ne("")]
    about = [asked["rebuild_id"], asked["pump_id"]]
    about += [asked["part"]] if kind == "position" else []
    asks = KINDS[kind].asks
    return asked.assign(
        question=question_ids(kind, *about),
        choices=_choices(records, kind, asked),
        what=[f"{asks} {what}" for what in asked["what"]],
    )


def _parts_in_doubt(records: Records, asked: pd.DataFrame) -> "pd.Series[str]":
    """The part named as failed on the ticket, else that of its first finding of a failure."""
    findings = records.table("findings")
    failed = findings[findings["found"].eq("failed")].drop_duplicates("rebuild_id")
    found = asked["rebuild_id"].map(failed.set_index("rebuild_id")["part"]).fillna("")
    named: pd.Series[str] = asked["failed_part"]
    return named.where(~named.isin(["", "none"]), found)


def _choices(records: Records, kind: str, asked: pd.DataFrame) -> list[str]:
    if kind == "kit":
        return _kit_choices(records, asked)
    if kind == "part":
        return _part_choices(records, asked)
    if kind == "position":
        pieces = records.table("parts").groupby("part")["per_pump"].max()
        count = asked["part"].map(pieces).fillna(0).astype(int)
        return [" / ".join(LABELS.get(number, ("a position",))) for number in count]
    words = {"reason": "breakdown / planned / inspection / stoppage / modification"}
    return [words.get(kind, "renewed / sound")] * len(asked)


def _part_choices(records: Records, asked: pd.DataFrame) -> list[str]:
    """The parts of the ticket's kit, else every part."""
    parts = wearing_parts(records)[["part_no", "part"]]
    held = records.table("kit_contents")[["kit", "part_no"]].merge(parts, on="part_no")
    by_kit = held.drop_duplicates(["kit", "part"]).groupby("kit")["part"].agg(" / ".join)
    every = " / ".join(parts["part"].unique())
    return [f"{words} / none" for words in asked["kit"].map(by_kit).fillna(every)]


def _kit_choices(records: Records, asked: pd.DataFrame) -> list[str]:
    pumps = records.pumps.set_index("pump_id")
    fitted = pumps[["fluid_kit", "air_kit"]].reindex(asked["pump_id"]).fillna("")
    every = list(records.table("kits")["kit"].unique())
    return [
        " / ".join([*(own or [list_some(every)]), "none"])
        for own in ([kit for kit in pair if kit] for pair in fitted.itertuples(index=False))
    ]


def _meter_questions(records: Records, rows: pd.DataFrame) -> pd.DataFrame:
    readings = records.table("readings")
    readings = readings.loc[
        readings["row"].isin(rows["row"]), ["row", "pump_id", "read_on", "file"]
    ]
    days = {"readings": readings, "rebuilds": _noted(records.table("rebuilds"))}
    parts = [_same_row(rows[rows["table"].eq(table)], cells) for table, cells in days.items()]
    asked = pd.concat(parts, ignore_index=True)
    return asked.assign(
        question=question_ids("meter", asked["pump_id"], asked["read_on"].dt.strftime("%Y-%m-%d")),
        choices="rollover DIGITS / exchange START / wrong",
    )[["table", "row", "pump_id", "what", "question", "choices", "consequence"]]


def _noted(rebuilds: pd.DataFrame) -> pd.DataFrame:
    day = rebuilds["happened_on"].fillna(rebuilds["opened_on"])
    return rebuilds[["row", "pump_id", "file"]].assign(read_on=day)


def _same_row(audit: pd.DataFrame, cells: pd.DataFrame) -> pd.DataFrame:
    """Join audit rows to their rows of a table; the audit names a file only where it must."""
    both = audit.merge(cells, on=["row", "pump_id"], suffixes=("", "_of_row"))
    same = both["file"].eq("") | both["file"].eq(both["file_of_row"])
    return both[same].drop(columns="file_of_row").reset_index(drop=True)


def _stakes(records: Records, asked: pd.DataFrame) -> pd.DataFrame:
    """Rough money at stake: breakdowns that hang on the answer times what one costs."""
    pump = records.pumps["pump_id"].to_numpy(object)
    place = pd.Index(pump).get_indexer(pd.Index(asked["pump_id"]))
    rebuilds = records.table("rebuilds")
    broke = rebuilds.loc[rebuilds["reason"].eq("breakdown"), ["rebuild_id", "pump"]]
    broke = broke[broke["pump"].ge(0)].drop_duplicates()
    counts = np.bincount(broke["pump"], minlength=len(pump) + 1)
    whole = asked["kind"].isin(PUMP_KINDS).to_numpy()
    events = np.where(whole, np.maximum(counts[place], 1), 1)
    cost = _breakdown_costs(records)[place]
    money = events * cost
    words = [
        f"{count} {'breakdown' if count == 1 else 'breakdowns'} at {each:,.0f} (kit, labour, "
        "downtime, call-out)"
        if np.isfinite(each)
        else "no costs or prices are given"
        for count, each in zip(events, cost, strict=True)
    ]
    return pd.DataFrame({"money": money.astype(float), "money_from": words}, index=asked.index)


def _breakdown_costs(records: Records) -> np.ndarray:
    """What a breakdown of each pump's fluid side costs [money]; the last entry, for a pump that
    isn't known, is the median."""
    plant, pumps = records.plant, records.pumps
    if not plant.has_costs:
        return np.full(len(pumps) + 1, np.nan)
    prices = records.table("kits").drop_duplicates("kit").set_index("kit")["unit_cost"]
    kit = pumps["fluid_kit"].map(prices).to_numpy(dtype=np.float64)
    hours = plant.work("fluid")
    by_service = {word: plant.cost("downtime_per_h", word) for word in pumps["service"].unique()}
    rate = pumps["downtime_per_h"].fillna(pumps["service"].map(by_service)).to_numpy(float)
    labour = hours["breakdown_labour_h"] * plant.cost("labour_per_h")
    down = hours["breakdown_downtime_h"] * rate
    pieces = np.vstack([kit, np.full(len(pumps), labour), down])
    pieces = np.vstack([pieces, np.full(len(pumps), plant.cost("call_out"))])
    known = np.isfinite(pieces).any(axis=0)
    cost = np.where(known, np.nansum(pieces, axis=0), np.nan)
    return np.append(cost, np.nanmedian(cost) if known.any() else np.nan)
