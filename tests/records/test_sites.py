"""Pumps and bookings that name no site."""

from pathlib import Path

import pandas as pd
import pytest

from pumplife.records.read import Records, read_records
from pumplife.study import audit_records
from tests.plants import pump_rows, small_plant


def sites_of(records: Records) -> dict[str, str]:
    return records.pumps.set_index("pump_id")["site"].to_dict()


def rows_of(records: Records, rule: str) -> pd.DataFrame:
    audit = records.log.frame()
    return audit[audit["rule"].eq(rule)]


def pumps(*sites: str) -> list[dict[str, object]]:
    """The small plant's pumps, the first of them at these sites."""
    rows = pump_rows()
    given = [*sites, *["works"] * (len(rows) - len(sites))]
    return [row | {"site": site} for row, site in zip(rows, given, strict=True)]


@pytest.mark.parametrize("column", ["absent", "blank"])
def test_a_plant_that_names_no_site_is_one(tmp_path: Path, column: str) -> None:
    rows = [{k: v for k, v in row.items() if k != "site"} for row in pump_rows()]
    if column == "blank":
        rows = [row | {"site": ""} for row in rows]
    folder = small_plant(tmp_path / "plant", pumps=rows)
    records = read_records(folder)
    assert set(sites_of(records).values()) == {records.plant.name}
    (said,) = rows_of(records, "one_site").to_dict("records")
    assert said["severity"] == "note"
    assert records.plant.name in said["what"]
    check = audit_records(folder)
    named = audit_records(small_plant(tmp_path / "named"))
    assert not check.stopped
    columns = ["kind", "status", "reason"]
    pd.testing.assert_frame_equal(check.account[columns], named.account[columns])
    assert not named.audit["rule"].eq("one_site").any()


def test_a_blank_takes_the_only_site_there_is_and_says_so(tmp_path: Path) -> None:
    spend = [
        {"month": month, "site": site, "quantity": "kits", "amount": 3.0}
        for month, site in (("2021-01-01", "works"), ("2021-02-01", ""))
    ]
    records = read_records(small_plant(tmp_path, pumps=pumps("", "works"), spend=spend))
    assert set(sites_of(records).values()) == {"works"}
    said = rows_of(records, "site_filled")
    assert said["table"].tolist() == ["pumps", "spend"]
    assert said["row"].tolist() == [2, 3]
    assert said["consequence"].str.contains("works stands in").all()
    assert records.table("spend")["site"].tolist() == ["works", "works"]


def test_among_several_sites_a_blank_is_set_aside(tmp_path: Path) -> None:
    first, second = (row["pump_id"] for row in pump_rows()[:2])
    records = read_records(small_plant(tmp_path, pumps=pumps("", "south")))
    assert first not in sites_of(records)
    assert sites_of(records)[second] == "south"
    (said,) = rows_of(records, "blank_cell").to_dict("records")
    assert (said["table"], said["row"], said["pump_id"]) == ("pumps", 2, first)
    assert said["remedy"] == "Fill the cell in the source."


def test_a_site_that_only_a_move_names_is_not_where_a_pump_stood_before(tmp_path: Path) -> None:
    moved = [{"pump_id": pump_rows()[1]["pump_id"], "moved_on": "2021-03-01", "site": "south"}]
    records = read_records(small_plant(tmp_path, pumps=pumps("", "works"), moves=moved))
    assert pump_rows()[0]["pump_id"] not in sites_of(records)
    assert len(rows_of(records, "site_filled")) == 0
