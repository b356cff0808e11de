"""Decisions: every kind is asked, its answer is replayed on every run and not asked again."""

import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pumplife.lives.build import build_lives
from pumplife.records.decisions import KINDS
from pumplife.records.duty import build_duty
from pumplife.records.questions import question_ids, question_parts
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.study import audit_records

from ..faults.plant import CLEAN, plant

HEADINGS = "question,answer,decided_by,decided_on,note\n"
ASKED = {
    # fault: kind of its question, an answer
    "part_not_named": ("part", "Diaphragm"),
    "kit_not_written": ("kit", "FK-50-CR"),
    "partly_done": ("partial", "diaphragm, seat"),
    "position_shared": ("position", "suction_left"),
    "reason_not_known": ("reason", "breakdown"),
    "failed_and_kept": ("kept", "renewed"),
    "one_event_twice": ("event", "one"),
    "planned_after_breakdown": ("event", "one"),
    "order_overlap": ("event", "one"),
    "counter_rolled_over": ("meter", "rollover 5"),
    "meter_break_unclear": ("meter", "rollover 3"),
    "unrecorded_exchange": ("meter", "exchange 0"),
    "strokes_or_cycles": ("unit", "strokes"),
    "unresolved_location": ("slot", "P-3"),
    "move_not_written": ("move", "moved"),
}


def answer(folder, question, word):
    """Write one decision into the folder."""
    answer_all(folder, [(question, word)])


def answer_all(folder, decisions):
    """Write decisions into the folder, the first in row 2."""
    lines = [f'"{question}","{word}",E1,2023-01-10,\n' for question, word in decisions]
    (folder / "decisions.csv").write_text(HEADINGS + "".join(lines), encoding="utf-8")


def ask(folder, kind):
    """The question of that kind that a folder asks."""
    questions = audit_records(folder).questions
    ours = questions[questions["kind"].eq(kind)]
    assert len(ours) >= 1
    return ours.iloc[0]


@dataclass(kw_only=True, eq=False)
class Settled:
    """A planted fault whose question was answered."""

    folder: Path
    files: dict[str, bytes]  # what every file held before
    asked: pd.Series
    audit: pd.DataFrame

    @functools.cached_property
    def records(self):
        return read_records(self.folder)


@pytest.fixture(scope="module")
def settled(tmp_path_factory):
    """A function that plants a fault, answers its question and audits again, once for each."""

    @functools.cache
    def settle(name):
        kind, word = ASKED[name]
        folder = plant(name, tmp_path_factory.mktemp(name))
        files = {file.name: file.read_bytes() for file in folder.iterdir()}
        asked = ask(folder, kind)
        answer(folder, asked["question"], word)
        checked = audit_records(folder)
        assert asked["question"] not in set(checked.questions["question"])
        return Settled(folder=folder, files=files, asked=asked, audit=checked.audit)

    return settle


def test_every_kind_of_question_is_tried():
    assert {kind for kind, _ in ASKED.values()} == set(KINDS)


@pytest.mark.parametrize("name", ASKED)
def test_an_answer_is_applied_and_not_asked_again(name, settled):
    found = settled(name)
    asked, audit = found.asked, found.audit
    assert name not in set(audit["rule"])
    applied = audit[audit["rule"].eq("decision_applied")].iloc[0]
    assert applied["severity"] == "note"
    assert "settled by decision of 2023-01-10" in applied["what"]
    assert not audit["rule"].isin(["decision_bad", "decision_gone"]).any()
    for file in found.folder.iterdir():  # sources are never edited
        assert found.files.get(file.name) == file.read_bytes() or file.name == "decisions.csv"
    assert asked["choices"]
    assert asked["what"]
    assert asked["consequence"]
    assert asked["answer_line"] == f'"{asked["question"]}",ANSWER,YOUR NAME,YYYY-MM-DD,'


@pytest.mark.parametrize("name", ["part_not_named", "one_event_twice", "counter_rolled_over"])
def test_skip_leaves_things_as_they_are_and_asks_no_more(name, tmp_path):
    asked = ask(plant(name, tmp_path), ASKED[name][0])
    before = read_records(tmp_path)
    answer(tmp_path, asked["question"], "Skip")
    checked = audit_records(tmp_path)
    audit, questions = checked.audit, checked.questions
    assert questions.empty
    assert not audit["rule"].isin(["decision_bad", "decision_gone"]).any()
    after = read_records(tmp_path)
    for table in ("rebuilds", "readings", "findings"):
        pd.testing.assert_frame_equal(before.table(table), after.table(table))


def test_what_each_answer_changes_in_the_clean_tables(settled):
    def order(records, column, number="R-043"):
        rebuilds = records.table("rebuilds")
        return rebuilds.loc[rebuilds["rebuild_id"].eq(number), column].tolist()

    assert order(settled("part_not_named").records, "failed_part") == ["diaphragm"]
    assert order(settled("kit_not_written").records, "kit") == ["FK-50-CR"]
    assert order(settled("reason_not_known").records, "reason") == ["breakdown"]
    assert order(settled("one_event_twice").records, "completes", "R-900") == ["R-043"]
    partial = settled("partly_done").records.table("findings")
    told = partial[partial["file"].eq("decisions")].set_index("part")["action"].to_dict()
    assert told == {"diaphragm": "renewed", "seat": "renewed", "ball": "kept"}
    position = settled("position_shared").records.table("findings").iloc[-1]
    assert tuple(position[["part", "position", "found", "action"]]) == (
        "ball", "suction_left", "failed", "renewed",
    )  # fmt: skip
    kept = settled("failed_and_kept").records.table("findings")
    assert kept.loc[kept["rebuild_id"].eq("R-043"), "action"].tolist() == ["renewed"]
    meters = settled("counter_rolled_over").records.table("readings")
    assert meters.loc[meters["pump_id"].eq("P-1"), "digits"].eq(5).all()
    assert meters.loc[meters["pump_id"].ne("P-1"), "digits"].isna().all()
    swapped = settled("unrecorded_exchange").records.table("readings")
    begun = swapped[swapped["new_meter_start"].notna()]
    assert begun[["pump_id", "new_meter_start"]].to_numpy().tolist() == [["P-4", 0.0]]
    units = (
        settled("strokes_or_cycles").records.table("readings").groupby("pump_id")["unit"].unique()
    )
    assert list(units["P-5"]) == ["strokes"]
    assert list(units["P-4"]) == ["cycles"]
    placed = settled("unresolved_location").records
    assert order(placed, "pump_id") == ["P-3"]
    moved = settled("move_not_written").records.table("moves").iloc[-1]
    assert tuple(moved[["pump_id", "location", "state"]]) == ("P-3", "N-11", "in_service")


def test_settled_meters_give_the_usage_that_passed(settled):
    # day 0 of the records is 1970 + 18262 days; every pump runs ten hours a day
    for name, pump in (
        ("counter_rolled_over", 0), ("meter_break_unclear", 1), ("strokes_or_cycles", 4),
    ):  # fmt: skip
        records = settled(name).records
        clock = build_clock(records, build_duty(records))
        ran = float(np.diff(clock.usage([pump, pump], [18262.0, 18262.0 + 1095.0]))[0])
        assert ran == pytest.approx(10_950.0, rel=0.002)


def test_a_wrong_reading_is_left_out(tmp_path):
    asked = ask(plant("unrecorded_exchange", tmp_path), "meter")
    answer(tmp_path, asked["question"], "wrong")
    before = len(read_records(CLEAN).table("readings"))
    assert len(read_records(tmp_path).table("readings")) == before - 1


def test_one_event_is_one_visit_and_two_are_two(tmp_path):
    counts = {}
    for word in ("one", "two"):
        folder = plant("one_event_twice", tmp_path / word)
        answer(folder, "event|R-900|R-043|P-3", word)
        assert audit_records(folder).questions.empty
        records = read_records(folder)
        duty = build_duty(records)
        visits = build_lives(records, duty, build_clock(records, duty)).visits
        counts[word] = visits.loc[visits["pump_id"].eq("P-3"), "rebuild_id"].nunique()
    assert counts == {"one": 8, "two": 9}


BAD = [
    ("part|R-043|P-3", "membrane", "there is no part membrane"),
    ("kit|R-043|P-3", "FK-5O-CR", "the closest is FK-50-CR"),
    ("reason|R-043|P-3", "because", "there is no reason because"),
    ("event|R-043|R-001|P-3", "maybe", "neither one nor two"),
    ("meter|P-1|2020-01-31", "rollover", "neither rollover with a number"),
    ("unit|P-4", "beats", "neither strokes nor cycles"),
    ("kept|R-043|P-3", "thrown away", "neither renewed nor sound"),
    ("move|P-3|N-11|2021-01-01", "perhaps", "neither moved nor stayed"),
    ("partial|R-043|P-3|FK-50-CR", "spring", "there is no part of kit FK-50-CR spring"),
    ("position|R-043|P-3|ball", "middle", "there is no position middle"),
    ("slot|N-03|2021-01-01", "P-99", "there is no pump P-99"),
]


@pytest.fixture(scope="module")
def bad_answers(tmp_path_factory):
    """What the audit says of a folder in which every answer of `BAD` was given."""
    folder = plant("part_not_named", tmp_path_factory.mktemp("bad"))
    answer_all(folder, [row[:2] for row in BAD])
    audit = read_records(folder).log.frame()
    return audit[audit["rule"].eq("decision_bad")]


@pytest.mark.parametrize(
    ("row", "question", "says"),
    [(row, question, says) for row, (question, _, says) in enumerate(BAD, start=2)],
)
def test_a_bad_answer_is_a_caution_with_the_words_allowed(row, question, says, bad_answers):
    assert len(bad_answers) == len(BAD)
    bad = bad_answers[bad_answers["row"].eq(row)].iloc[0]
    assert bad["severity"] == "caution"
    assert says in bad["what"]
    assert KINDS[question.partition("|")[0]].answers in bad["remedy"]


UNASKED = [
    ("part|R-043|P-3", "ball"),  # the source names a part
    ("kit|R-999|P-3", "FK-50-CR"),
    ("part|R-043", "ball"),
    ("colour|P-3", "blue"),
    ("event|R-900|R-043|P-3", "two"),
    ("meter|P-1|2020-02-29", "wrong"),
    ("unit|P-1", "strokes"),
    ("slot|N-99|2021-01-01", "P-1"),
    ("kept|R-043|P-3", "sound"),
    ("partial|R-043|P-3|AK-50", "all"),
    ("position|R-999|P-3|ball", "suction_left"),
    ("part|R-059|P-3", "skip"),
    ("move|P-3|N-11|2021-01-01", "stayed"),
]


@pytest.fixture(scope="module")
def unasked(tmp_path_factory):
    """The audit's words on answers that nothing asks for: a folder with all of `UNASKED`."""
    folder = tmp_path_factory.mktemp("unasked")
    plant("move_changes_nothing", folder)  # any folder without questions
    answer_all(folder, UNASKED)
    audit = audit_records(folder).audit
    return audit[audit["rule"].eq("decision_gone")]


@pytest.mark.parametrize("row", range(2, 2 + len(UNASKED)))
def test_an_answer_that_nothing_asks_for_is_a_caution(row, unasked):
    assert len(unasked) == len(UNASKED)
    (gone,) = unasked[unasked["row"].eq(row)].to_dict("records")
    assert gone["severity"] == "caution"
    assert gone["consequence"] == "The decision has no effect."


def test_ids_survive_any_name():
    names = ["R|1%", " a ", "50 % | x"]
    (asked,) = question_ids("kit", *([name] for name in names))
    assert question_parts(asked) == ["kit", *(name.strip() for name in names)]


def test_questions_are_worst_first_by_money_and_blank_without_prices(tmp_path):
    folder = plant("counter_rolled_over", tmp_path)
    rows = pd.read_csv(folder / "rebuilds.csv", dtype=str, keep_default_na=False)
    broke = rows.index[rows["reason"].eq("breakdown") & rows["pump_id"].eq("P-2")][:2]
    rows.loc[broke, "reason"] = ""
    rows.to_csv(folder / "rebuilds.csv", index=False)
    questions = audit_records(folder).questions
    assert questions["kind"].tolist() == ["meter", "reason", "reason"]
    each = 200.0 + 5.0 * 50.0 + 8.0 * 100.0 + 100.0  # kit, labour, downtime, call-out
    broken = int((rows["pump_id"].eq("P-1") & rows["reason"].eq("breakdown")).sum())
    assert questions["money"].tolist() == [broken * each, each, each]
    assert f"{broken} breakdowns at 1,350" in questions["money_from"].iloc[0]
    settings = (folder / "plant.toml").read_text(encoding="utf-8")
    (folder / "plant.toml").write_text(settings.partition("[costs]")[0], encoding="utf-8")
    unpriced = audit_records(folder).questions
    assert unpriced["money"].isna().all()
    assert len(unpriced) == 3


def fast_counter(folder, digits):
    """Invented: a counter that gains 210,000 cycles a week and turns every few weeks; week 60 it
    is exchanged."""
    week = np.arange(0, 104)
    count = 300_000 + 210_000 * week
    shown = np.where(week < 60, count, count - count[60]) % 10**digits
    day = pd.Timestamp("2021-01-04") + pd.to_timedelta(7 * week, unit="D")
    folder.mkdir()
    (folder / "plant.toml").write_text(
        '[plant]\nusage_unit = "cycles"\nrecords_from = 2021-01-01\nrecords_to = 2022-12-31\n',
        encoding="utf-8",
    )
    pd.DataFrame({"pump_id": ["P-1"], "site": "w", "service": "s"}).to_csv(
        folder / "pumps.csv", index=False
    )
    pd.DataFrame({"pump_id": "P-1", "read_on": day, "reading": shown}).to_csv(
        folder / "readings.csv", index=False
    )
    orders = pd.DataFrame({"rebuild_id": ["R-1"], "pump_id": "P-1", "opened_on": "2022-03-01"})
    orders.assign(reason="planned", kit="FK", failed_part="none").to_csv(
        folder / "rebuilds.csv", index=False
    )
    return folder


def test_a_counter_that_turns_every_few_weeks_is_asked_for_once(tmp_path):
    folder = fast_counter(tmp_path / "fast", digits=6)
    asked = audit_records(folder).questions
    meters = asked[asked["kind"].eq("meter")]
    assert len(meters) == 1
    assert meters["choices"].iloc[0].startswith("rollover 6 / ")
    assert "starts again so 20 more times" in meters["what"].iloc[0]
    answer(folder, meters["question"].iloc[0], "rollover 6")
    checked = audit_records(folder)
    # 21 turns, and the exchange, which no reading tells from a turn: 0.1 million too many
    assert checked.audit["rule"].eq("rollover").sum() == 22
    assert not checked.audit["rule"].eq("counter_rolled_over").any()
    records = read_records(folder)
    clock = build_clock(records, build_duty(records))
    first = (pd.Timestamp("2021-01-04") - pd.Timestamp("1970-01-01")).days
    ran = float(np.diff(clock.usage([0, 0], [first, first + 7.0 * 103]))[0])
    assert ran == pytest.approx(103 * 210_000 + 100_000)


def test_a_question_on_a_table_of_several_files_is_asked_once(tmp_path):
    folder = plant("part_not_named", tmp_path / "whole")
    whole = audit_records(folder).questions
    head, *rows = (folder / "rebuilds.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    # pump P-3 has a ticket in row 4 of both files
    for year, part in (("a", rows[:40]), ("b", rows[40:])):
        (folder / f"{year}.csv").write_text(head + "".join(part), encoding="utf-8")
    (folder / "rebuilds.csv").unlink()
    settings = folder / "plant.toml"
    said = settings.read_text(encoding="utf-8")
    settings.write_text(said + '\n[files]\nrebuilds = ["a.csv", "b.csv"]\n', encoding="utf-8")
    spread = audit_records(folder).questions
    assert list(spread["question"]) == list(whole["question"])
    assert spread["question"].is_unique
