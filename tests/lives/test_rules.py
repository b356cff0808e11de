"""Rules over histories: each planted fault is found at its row, clean records raise no alarm."""

import ast
from pathlib import Path

import pandas as pd
import pytest

from pumplife.fits.build import fit_lives
from pumplife.lives.build import build_lives
from pumplife.lives.rules.book import HISTORY_RULES
from pumplife.lives.rules.rule import run_rules
from pumplife.lives.rules.story import tell_story
from pumplife.materials.table import compare_materials
from pumplife.policy.advice import advise
from pumplife.records.audit import SEVERITIES
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.report.rulebook import list_rules
from pumplife.study import audit_records

from ..demo.conftest import DEMO
from ..faults.plant import CLEAN, NAMES, expect, plant

assert DEMO.is_dir()  # the import has put the generator on the path

from make_plant import make_plant, write_plant  # noqa: E402

PACKAGE = Path(__file__).parents[2] / "pumplife"
OWN = {rule.name for rule in HISTORY_RULES}
INFORMATION = {"source", "account"}
PLANTED = {row["rule"] for name in NAMES for row in expect(name)["found"]}
FIRED_IN = {
    "coming_unpriced": "stock/test_plans.py",
    "loose_part_unclear": "stock/test_loose.py",
    "plan_begun": "stock/test_plans.py",
    "plan_service_unknown": "stock/test_plans.py",
    "reserve_class": "stock/test_reserve.py",
    "rush_days": "stock/test_plan.py",
    "share_unknown": "stock/test_loose.py",
    "shock_demand": "stock/test_shocks.py",
    "budget_unpriced": "stock/test_unpriced.py",
    "spend_unit": "stock/test_money.py",
    "stock_change_unpriced": "stock/test_unpriced.py",
    "spend_not_compared": "stock/test_money.py",
    "ticket_contradicts": "records/test_returned.py",
    "ticket_grade": "records/test_returned.py",
    "ticket_known": "records/test_returned.py",
    "ticket_elsewhere": "records/test_returned.py",
    "ticket_open": "ticket/test_ticket.py",
    "ticket_reused": "records/test_returned.py",
    "ticket_twice": "records/test_returned.py",
    "ticket_undated": "records/test_returned.py",
    "costs_given": "test_what_if.py",
    "not_compared": "since/test_changes.py",
    "unreadable_file": "records/test_read.py",
    "one_site": "records/test_sites.py",
    "no_lives": "test_study.py",
    "encoding": "records/test_read.py",
    "serial_dates": "records/test_mending.py",
    "cost_missing": "policy/test_advice.py",
    "work_hours": "policy/test_advice.py",
    "adopted_unmatched": "policy/test_advice.py",
    "adopted_beyond_limit": "policy/test_advice.py",
    "no_interval": "policy/test_advice.py",
    "rate_borrowed": "policy/test_bench.py",
    "bench_default": "policy/test_bench.py",
    "bench_unknown": "policy/test_bench.py",
    "bench_full": "policy/test_bench.py",
    "stop_hours": "policy/test_bench.py",
    "no_lead_time": "stock/test_plan.py",
    "no_demand": "stock/test_plan.py",
    "standby": "policy/test_advice.py",
    "actual_hours": "stock/test_plan.py",
    "second_opinion": "fits/test_opinions.py",
    "two_tables": "records/test_sources.py",
    "hidden_sheet": "records/test_sources.py",
    "text_column": "records/test_words.py",
    "read_from_text": "records/test_words.py",
    "text_of_several": "records/test_words.py",
    "own_words": "records/test_words.py",
    "event_kind": "lives/test_events.py",
    "shock": "lives/test_events.py",
    "shock_failure": "lives/test_events.py",
    "lives_changed": "fits/test_alike_study.py",
    "unlike_positions": "fits/test_alike_study.py",
    "unlike_calendar_time": "fits/test_alike_study.py",
    "unlike_pumps": "fits/test_alike_study.py",
    "unlike_lots": "fits/test_alike_study.py",
    "unlike_crews": "fits/test_alike_study.py",
    "pump_stands_out": "stock/test_pumps.py",
    "changed_prior": "fits/test_build.py",
    "unknown_prior": "fits/test_build.py",
    "changed_evidence": "fits/test_build.py",
    "pulled_as_worn": "fits/test_build.py",
    "turned_parts": "lives/test_moves_and_kept.py",
    "swap_day": "records/test_duty.py",
    "position_not_named": "lives/test_build.py",
}
"""Checks that no folder of records alone can raise, or that another file tests with care."""


def check_histories(folder):
    """The audit of reading, usage and the rules over histories, without building lives."""
    records = read_records(folder)
    if not records.fatal:
        duty = build_duty(records)
        clock = build_clock(records, duty)
        run_rules(HISTORY_RULES, tell_story(records, duty, clock))
    return records.log.frame()


def audits_along(folder):
    """The audit after each part of the route, for as long as it is asked for."""
    records = read_records(folder)
    yield records.log.frame()
    if records.fatal:
        return
    duty = build_duty(records)
    clock = build_clock(records, duty)
    run_rules(HISTORY_RULES, tell_story(records, duty, clock))
    yield records.log.frame()
    lives = build_lives(records, duty, clock)
    yield records.log.frame()
    fits, lives = fit_lives(records, lives, seed=1, draws=100)
    compare_materials(records, duty, lives, fits, None)
    yield records.log.frame()
    advise(records, duty, clock, lives, fits)
    yield records.log.frame()


@pytest.mark.parametrize("name", NAMES)
def test_a_planted_fault_is_found_at_its_row_with_a_remedy(name, tmp_path):
    rows = expect(name)["found"]
    folder = plant(name, tmp_path)
    wanted = {row["rule"] for row in rows}
    for audit in audits_along(folder):
        if wanted <= set(audit["rule"]):
            break
    for row in rows:
        found = audit[audit["rule"].eq(row["rule"]) & audit["table"].eq(row["table"])]
        found = found[found["pump_id"].eq(row["pump_id"])]
        if "row" in row:
            found = found[found["row"].eq(row["row"])]
            assert len(found) == 1, row
        assert len(found), row
        assert found["what"].iloc[0].endswith((".", "?"))
        if row["rule"] in OWN or row["rule"].startswith(("trial_", "material_")):
            assert found[["consequence", "remedy"]].ne("").all(axis=None)


def test_at_least_thirty_faults_of_histories_are_planted():
    assert len(OWN & PLANTED) >= 30
    assert OWN <= PLANTED


def test_a_clean_folder_has_an_empty_audit_but_for_the_account():
    checked = audit_records(CLEAN)
    assert set(checked.audit["rule"]) == INFORMATION
    assert set(checked.audit["severity"]) == {"note"}
    assert checked.questions.empty
    assert not checked.stopped


@pytest.mark.parametrize("seed", [1, 2, 7, 14])
def test_no_rule_cries_on_clean_bookkeeping(seed, tmp_path):
    write_plant(make_plant(seed, faults=False), tmp_path)
    audit = check_histories(tmp_path)
    assert audit.loc[audit["severity"].ne("note"), ["rule", "what"]].to_numpy().tolist() == []


def test_open_orders_overlap_only_on_one_side(tmp_path):
    folder = plant("order_overlap", tmp_path)
    rows = (folder / "rebuilds.csv").read_text(encoding="utf-8")
    air = rows.replace("R-900,P-4,N-04,2022-03-25,planned,,2022-03-28,FK-50-CR", "R-900,P-4,N-04,"
                       "2022-03-25,planned,,2022-03-28,AK-50")  # fmt: skip
    assert air != rows
    for text, count in ((rows, 1), (air, 0)):
        (folder / "rebuilds.csv").write_text(text, encoding="utf-8")
        assert int(check_histories(folder)["rule"].eq("order_overlap").sum()) == count


def literals(tree):
    """Names of rules that a file hands to the log as literals."""
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "rule":
            yield from (
                part.value
                for part in ast.walk(node.value)
                if isinstance(part, ast.Constant) and isinstance(part.value, str)
            )


def test_every_rule_that_the_audit_can_name_is_in_the_rulebook():
    named = {
        word
        for path in PACKAGE.rglob("*.py")
        for word in literals(ast.parse(path.read_text(encoding="utf-8")))
    }
    listed = {rule.name for rule in list_rules()}
    named -= {"unreadable_", "window"}  # the start of a name; a reason that never leaves left.py
    assert named - listed == set(), "add the words of these rules to report/rulebook.py"


def test_every_rule_of_the_book_can_fire():
    listed = {rule.name for rule in list_rules()}
    assert listed - PLANTED - set(FIRED_IN) == set()
    for rule, file in FIRED_IN.items():
        assert rule in (PACKAGE.parent / "tests" / file).read_text(encoding="utf-8")


def test_the_rulebook_says_everything_of_every_rule_once():
    rules = list_rules()
    assert len({rule.name for rule in rules}) == len(rules)
    for rule in rules:
        assert rule.severity in SEVERITIES
        for words in (rule.looks_for, rule.does, rule.remedy):
            assert words[0].isupper() or "_" in words.split()[0], rule.name
            assert words[-1] in '.?"', rule.name
    assert [SEVERITIES.index(rule.severity) for rule in rules] == sorted(
        SEVERITIES.index(rule.severity) for rule in rules
    )


def test_the_order_of_rows_does_not_matter(tmp_path):
    folder = plant("counter_rolled_over", tmp_path)
    before = check_histories(folder)
    for name in ("rebuilds", "readings", "issued"):
        rows = pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        rows.sample(frac=1.0, random_state=7).to_csv(folder / f"{name}.csv", index=False)
    after = check_histories(folder)
    told = [frame.loc[frame["rule"].isin(OWN), "what"].tolist() for frame in (before, after)]
    assert len(told[0]) == 1
    assert told[0] == told[1]
