"""Input columns whose meaning decides what a ticket is: each read as its own words say it."""

import pandas as pd
import pytest

from pumplife.study import audit_records, run_study

from ..plants import SETTINGS, on_day, pump_rows, rebuild_rows, small_plant

TICKET = {"pump_id": "P-1", "reason": "planned", "kit": "FK", "failed_part": "none"}


def visits_of(folder, pump="P-1"):
    visits = run_study(folder, results=()).lives.visits
    return visits[visits["pump_id"].eq(pump)].reset_index(drop=True)


def test_a_place_is_the_pump_that_stood_there_by_moves(tmp_path):
    pumps = [row | {"location": f"L-{row['pump_id']}"} for row in pump_rows()]
    moves = [
        {"pump_id": "P-1", "moved_on": on_day(100), "state": "in_store"},
        {"pump_id": "P-2", "moved_on": on_day(150), "location": "L-P-1"},
    ]
    tickets = rebuild_rows()[2:]
    for number, day in enumerate((50, 250)):
        row = TICKET | {"rebuild_id": f"R-9{number}", "pump_id": "", "location": "L-P-1"}
        tickets.append(row | {"opened_on": on_day(day)})
    records = run_study(
        small_plant(tmp_path, pumps=pumps, moves=moves, rebuilds=tickets), results=()
    ).records
    rebuilds = records.table("rebuilds").set_index("rebuild_id")["pump_id"]
    assert rebuilds[["R-90", "R-91"]].tolist() == ["P-1", "P-2"]


def test_an_order_that_completes_another_is_one_event_with_it(tmp_path):
    tickets = rebuild_rows()
    tickets.append(TICKET | {"rebuild_id": "R-9", "opened_on": on_day(309), "completes": "R-1"})
    visits = visits_of(small_plant(tmp_path, rebuilds=tickets))
    assert visits["rebuild_id"].tolist() == ["R-1", "R-2"]
    assert visits["reason"].tolist() == ["breakdown", "planned"]


def test_what_was_not_done_renews_nothing_and_is_accounted(tmp_path):
    tickets = rebuild_rows()
    undone = {"rebuild_id": "R-9", "opened_on": on_day(450), "kit": "none", "done": "no"}
    tickets.append(TICKET | undone | {"not_done_why": "no permit"})
    study = run_study(small_plant(tmp_path, rebuilds=tickets), results=())
    plain = run_study(small_plant(tmp_path / "plain"), results=())
    ages = ["part", "position", "entry", "lower", "upper", "outcome"]
    assert study.lives.table[ages].equals(plain.lives.table[ages])
    account = study.tables["account"]
    told = account[account["kind"].eq("ticket") & account["rows"].eq("7")]
    assert told[["status", "reason"]].to_numpy().tolist() == [
        ["set aside", "The work was not done."]
    ]


def test_a_kit_fitted_in_part_renews_what_findings_name(tmp_path):
    tickets = rebuild_rows()
    tickets[1] |= {"done": "partly"}
    told = {"rebuild_id": "R-2", "pump_id": "P-1", "found": "not_checked"}
    findings = [
        told | {"part": "diaphragm", "action": "renewed"},
        told | {"part": "all_fluid", "action": "kept"},
    ]
    lives = run_study(
        small_plant(tmp_path, rebuilds=tickets, findings=findings), results=()
    ).lives.table
    ended = lives[lives["pump_id"].eq("P-1") & lives["end_on"].eq(on_day(600))]
    assert set(ended["part"]) == {"diaphragm"}


def test_hours_and_costs_repeated_on_the_rows_of_an_order_count_once(tmp_path):
    tickets = rebuild_rows()
    tickets[0] |= {"labour_h": 6.0, "downtime_h": 9.0, "other_cost": 40.0}
    tickets.append(tickets[0] | {"kit": "none"})  # the same order, a second row
    visits = visits_of(small_plant(tmp_path, rebuilds=tickets))
    hours = visits.loc[visits["rebuild_id"].eq("R-1"), ["labour_h", "downtime_h", "other_cost"]]
    assert hours.to_numpy()[0] == pytest.approx([6.0, 9.0, 40.0])


def test_what_came_back_to_the_store_was_not_fitted(tmp_path):
    tickets = rebuild_rows()
    tickets[1] |= {"kit": ""}
    drawn = {"issued_on": on_day(600), "item": "FK", "rebuild_id": "R-2", "pump_id": "P-1"}
    issued = [drawn | {"quantity": 1}, drawn | {"quantity": -1, "issued_on": on_day(602)}]
    fitted = visits_of(small_plant(tmp_path / "a", rebuilds=tickets, issued=issued[:1]))
    returned = visits_of(small_plant(tmp_path / "b", rebuilds=tickets, issued=issued))
    assert fitted.loc[fitted["rebuild_id"].eq("R-2"), "kit"].tolist() == ["FK"]
    assert "FK" not in returned.loc[returned["rebuild_id"].eq("R-2"), "kit"].tolist()


def test_lots_and_crews_are_kept_as_written(tmp_path):
    tickets = rebuild_rows()
    tickets[0] |= {"lot": "2019-Q4 / 17", "crew": "C-2", "ticket_id": "T-1"}
    records = run_study(small_plant(tmp_path, rebuilds=tickets), results=()).records
    kept = records.table("rebuilds").loc[0, ["lot", "crew", "ticket_id"]]
    assert tuple(kept) == ("2019-Q4 / 17", "C-2", "T-1")


def test_the_account_adds_up_over_files_whose_row_numbers_meet(tmp_path):
    rows = pd.DataFrame(rebuild_rows())
    spoilt = rows.iloc[[4]].assign(rebuild_id="R-9", opened_on="soon")
    early = rows.iloc[[4]].assign(rebuild_id="R-8", opened_on=on_day(-90))
    settings = SETTINGS + '\n[files]\nrebuilds = ["a.csv", "b.csv"]\n'
    folder = small_plant(tmp_path, plant_toml=settings, rebuilds=None)
    pd.concat([spoilt, rows.iloc[:3], early]).to_csv(folder / "a.csv", index=False)
    pd.concat([rows.iloc[2:], early.assign(rebuild_id="R-7"), spoilt]).to_csv(
        folder / "b.csv", index=False
    )
    audit = audit_records(folder).audit
    told = audit[audit["rule"].eq("account") & audit["table"].eq("rebuilds")].iloc[0]
    assert told["severity"] == "note"
    assert told["what"] == ("Of 10 ticket rows: 5 used, 0 used with an assumption, 5 set aside.")
