"""Measures by month on the small plant, by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pumplife.lives.build import build_lives
from pumplife.records.duty import build_duty
from pumplife.records.meters import gather_readings
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.since.kpi import KPI_COLUMNS, Course, _measure_rows, list_kpis
from pumplife.since.measures import LEAST_BASE, Measure, list_measures

from ..plants import on_day, pump_rows, rebuild_rows, small_plant


def kpis(folder: Path, **changed: Any) -> pd.DataFrame:
    records = read_records(small_plant(folder, **changed))
    duty = build_duty(records)
    clock = build_clock(records, duty, gather_readings(records))
    lives = build_lives(records, duty, clock)
    return list_kpis(Course(records=records, duty=duty, clock=clock, lives=lives, advice=None))


def of_month(rows: pd.DataFrame, month: str, site: str = "all") -> pd.DataFrame:
    mine = rows[rows["month"].eq(pd.Timestamp(month)) & rows["site"].eq(site)]
    return mine.set_index("measure")[["value", "base"]]


def test_months_of_three_pumps_show_counts(tmp_path: Path) -> None:
    hours = [row | {"labour_h": 4.0, "downtime_h": 6.0} for row in rebuild_rows()[:1]]
    rows = kpis(tmp_path, rebuilds=[*hours, *rebuild_rows()[1:]])
    assert tuple(rows.columns) == KPI_COLUMNS
    assert rows["definition"].str.contains("Base: ").all()
    # October 2020: R-1, the diaphragm of P-1 on day 300; three pumps, ten hours a day, 31 days
    month = of_month(rows, "2020-10-01")
    assert month.loc["breakdowns"].tolist() == [1.0, 3.0]
    assert month.loc["ruptures", "value"] == 1.0
    assert month.loc["ruptures", "base"] == pytest.approx(0.93)
    assert month.loc["planned_rebuilds"].tolist() == [0.0, 1.0]
    assert month.loc["labour_h"].tolist() == [4.0, 1.0]
    assert month.loc["downtime_h"].tolist() == [6.0, 1.0]
    # ten parts were renewed: a life of each of two diaphragms, four balls, four seats ended
    assert month.loc["well_recorded_share"].tolist() == [1.0, 10.0]
    # August 2021: R-2, planned; no ball of May 2021 is a rupture
    assert of_month(rows, "2021-08-01").loc["planned_rebuilds"].tolist() == [1.0, 1.0]
    assert of_month(rows, "2021-05-01").loc["ruptures", "value"] == 0.0
    assert of_month(rows, "2021-05-01").loc["breakdowns", "value"] == 1.0


def test_tickets_without_hours_and_numbers_give_no_such_measure(tmp_path: Path) -> None:
    rows = kpis(tmp_path)
    assert not rows["measure"].isin(["labour_h", "downtime_h", "on_tickets_share"]).any()


def test_sites_add_up_and_a_moved_pump_counts_where_it_stood(tmp_path: Path) -> None:
    moves = [{"pump_id": "P-1", "moved_on": "2020-10-16", "site": "mill", "service": "slip"}]
    rows = kpis(tmp_path, moves=moves)
    here, there, both = (
        of_month(rows, "2020-10-01", site).loc["breakdowns"] for site in ("works", "mill", "all")
    )
    assert there["base"] == pytest.approx(16 / 31)
    assert here["base"] == pytest.approx(2 + 15 / 31)
    assert both["base"] == pytest.approx(3.0)
    # R-1 on 27 October was at the mill
    assert [here["value"], there["value"], both["value"]] == [0.0, 1.0, 1.0]


def test_a_retired_pump_and_a_stoppage(tmp_path: Path) -> None:
    pumps = [row | {"retired_on": "2021-06-15"} for row in pump_rows()[2:]]
    stop = {"rebuild_id": "R-9", "pump_id": "P-2", "opened_on": on_day(600), "reason": "stoppage"}
    rows = kpis(tmp_path, pumps=[*pump_rows()[:2], *pumps], rebuilds=[*rebuild_rows(), stop])
    assert of_month(rows, "2021-06-01").loc["breakdowns", "base"] == pytest.approx(2.5)
    assert of_month(rows, "2021-08-01").loc["stoppages", "value"] == 1.0
    assert of_month(rows, "2021-08-01").loc["breakdowns", "value"] == 0.0


def test_a_base_of_five_is_enough_for_a_rate() -> None:
    measure = Measure(
        name="per_100", count="number", over="over", under="under", words="Words", base="x",
        factor=100.0,
    )  # fmt: skip
    sums = pd.DataFrame(
        {
            "month": pd.Timestamp("2025-01-01"),
            "site": ["a", "b", "c"],
            "over": [2.0, 2.0, 0.0],
            "under": [LEAST_BASE, 4.9, 0.0],
        }
    )
    rows = _measure_rows(sums, measure)
    assert rows["measure"].tolist() == ["per_100", "number", "number"]
    np.testing.assert_allclose(rows["value"], [40.0, 2.0, 0.0])
    assert rows["definition"].str.contains("their number").tolist() == [False, True, True]


@pytest.mark.parametrize("unit", ["hours", "cycles", "days"])
def test_measures_are_named_once(unit: str) -> None:
    names = [measure.name for measure in list_measures(unit)]
    assert len(set(names)) == len(names)
    assert all(measure.words and measure.base for measure in list_measures(unit))
