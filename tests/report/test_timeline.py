"""The stories of the small plant's pumps, which its table of tickets tells by hand."""

import pandas as pd
import pytest
from matplotlib.figure import Figure

from pumplife.errors import RecordError
from pumplife.report.figures_fleet import fleet_table, plot_fleet
from pumplife.report.figures_timeline import plot_timeline, timeline_table
from pumplife.report.style import read_title
from pumplife.study import Study, run_study
from tests.plants import FIRST_DAY, small_plant


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    moves = [{"pump_id": "P-1", "moved_on": "2021-03-01", "service": "glaze"}]
    return run_study(
        small_plant(tmp_path_factory.mktemp("plants") / "small", moves=moves), results=()
    )


def day(number: int) -> pd.Timestamp:
    return FIRST_DAY + pd.Timedelta(days=number)


def test_what_befell_a_position_stands_on_its_strip(study: Study) -> None:
    table = timeline_table(study, "P-2")
    mine = table[(table["part"] == "ball") & (table["position"] == "discharge_left")]
    points = mine[mine["start_on"] == mine["end_on"]].set_index("start_on")["what"].to_dict()
    assert points[day(500)] == "failed"
    assert points[day(200)] in ("failed", "renewed")  # one of four of one age, nobody wrote which
    stretches = mine[mine["start_on"] < mine["end_on"]]
    assert stretches["start_on"].tolist() == [day(0), day(200), day(500)]
    whole = table[table["part"] == ""].set_index("start_on")["what"].to_dict()
    assert whole == {day(200): "breakdown", day(500): "breakdown"}


def test_an_unknown_age_is_set_aside_until_the_first_renewal(study: Study) -> None:
    table = timeline_table(study, "P-3")
    aside = table[table["what"] == "set aside"]
    assert set(aside["end_on"]) == {day(400)}
    assert set(aside["reason"]) == {"Fitted on an unknown day before the records."}
    axes = plot_timeline(study, "P-3")
    assert read_title(axes).startswith("P-3 broke down once; for ")
    assert "isn't known" in read_title(axes)


def test_moves_and_tickets_stand_above_the_strips(study: Study) -> None:
    axes = plot_timeline(study, "P-1")
    assert read_title(axes) == "P-1 broke down once; the age of every part is known throughout"
    assert "to glaze" in [text.get_text() for text in axes.texts]
    legend = axes.get_legend()
    assert legend is not None
    words = [text.get_text() for text in legend.get_texts()]
    assert {"breakdown (ticket)", "planned (ticket)", "failed", "renewed"} <= set(words)


def test_an_unknown_pump_is_named(study: Study) -> None:
    with pytest.raises(RecordError, match="no pump P-77 in pumps; there is P-1"):
        plot_timeline(study, "P-77")


def test_the_strips_of_all_pumps(study: Study) -> None:
    table = fleet_table(study)
    assert list(table["pump_id"].unique()) == ["P-1", "P-2", "P-3"]
    assert (table["what"] == "breakdown").sum() == 4
    last = table[(table["pump_id"] == "P-3") & (table["what"] == "set aside")]
    assert last["end_on"].max() > day(370)
    axes = Figure().add_subplot()
    assert plot_fleet(study, ax=axes) is axes
    assert read_title(axes).startswith("Of all pumps, the ages of most parts are not known for")
