"""What the bench puts off, by hand, and what the page says of it."""

from types import SimpleNamespace

import pandas as pd

from pumplife.policy.load import FULL, NO_ROOM, STOP
from pumplife.report.dues import list_put_off, say_put_off
from pumplife.report.headline import headline

TODAY = pd.Timestamp("2025-06-30")
LOAD = pd.DataFrame(
    {
        "week": [TODAY, TODAY, *(TODAY + pd.Timedelta(weeks=after) for after in (1, 20))],
        "site": ["north", "south", "north", "north"],
        "limit": [15.0, 40.0, 15.0, 15.0],
        "hours_breakdowns": [9.5, 3.0, 8.5, 2.0],
    }
)


def _due() -> pd.DataFrame:
    """Put off by 25, 47, 1, 25, 20 and 5 weeks; the last one was due two weeks ago."""
    weeks = [(5, 30, FULL), (5, 52, NO_ROOM), (5, 6, FULL), (5, 30, STOP), (20, 40, FULL)]
    weeks.append((-2, 5, FULL))
    rows = [
        (TODAY + pd.Timedelta(weeks=due), TODAY + pd.Timedelta(weeks=do), why)
        for due, do, why in weeks
    ]
    return pd.DataFrame(rows, columns=["due_on", "do_on", "moved_because"]).assign(site="north")


def test_only_what_is_due_soon_and_weeks_late_for_want_of_hours_is_put_off() -> None:
    assert list_put_off(_due(), TODAY).index.tolist() == [0, 1, 5]
    assert list_put_off(_due().iloc[:0], TODAY).empty


def test_the_words_name_hours_last_day_and_remedy() -> None:
    said = say_put_off(_due(), LOAD, TODAY)
    assert said.startswith(
        "3 rebuilds due by 2025-09-29 will be more than 4 weeks late, the last on 2026-06-29: the "
        "bench of north is full. Of 15.0 h a week breakdowns are expected to take 9.00 h until "
        "2025-09-29, beyond the planned work that they do."
    )
    assert "bench_hours_per_week under [calendar]" in said
    assert say_put_off(_due().iloc[2:5], LOAD, TODAY) == ""


def test_the_tile_of_what_is_overdue_says_it_too(study: SimpleNamespace) -> None:
    assert "put off" not in " ".join(tile.note for tile in headline(study))
    today = study.records.plant.records_to
    study.tables["due"].loc[:1, "due_on"] = today + pd.Timedelta(weeks=1)
    study.tables["due"].loc[:1, "do_on"] = today + pd.Timedelta(weeks=30)
    study.tables["due"].loc[:1, "moved_because"] = FULL
    notes = [tile.note for tile in headline(study) if "overdue" in tile.words]
    assert "; 2 that are due by then put off, the bench is full" in notes[0]
