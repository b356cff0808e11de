"""What holds of the lives of any plant, whatever its records say."""

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pumplife.lives.build import Lives, build_lives, judge_spans
from pumplife.lives.history import lay_history
from pumplife.lives.points import lay_points
from pumplife.records.duty import build_duty
from pumplife.records.read import Records, read_records
from pumplife.records.usage import UsageClock, build_clock
from tests.plants import LAST_DAY, on_day, part_rows, pump_rows, small_plant

Tables = dict[str, pd.DataFrame]
Built = tuple[Records, UsageClock, Lives]
KEYS = ["pump_id", "part", "position", "start_on", "end_on", "outcome", "entry", "lower", "upper"]
FEW = settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],  # shrinking takes minutes, and a seed says enough
    suppress_health_check=list(HealthCheck),
)


@st.composite
def plants(draw: st.DrawFn) -> Tables:
    """Records of three pumps in which nearly anything may be written, or left out."""
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    many = int(rng.integers(1, 25))
    day = np.sort(rng.integers(-40, 760, many))
    rebuilds = pd.DataFrame(
        {
            "rebuild_id": [f"R-{number}" for number in range(many)],
            "pump_id": rng.choice(["P-1", "P-2", "P-3", "P-9"], many, p=[0.4, 0.3, 0.28, 0.02]),
            "opened_on": [on_day(one) for one in day],
            "reason": rng.choice(
                ["breakdown", "planned", "inspection", "stoppage", "what?"], many,
                p=[0.5, 0.2, 0.2, 0.05, 0.05],
            ),
            "kit": rng.choice(["FK", "none", ""], many, p=[0.6, 0.3, 0.1]),
            "failed_part": rng.choice(["diaphragm", "ball", "seat", "none", ""], many),
            "done": rng.choice(["", "yes", "no", "partly"], many, p=[0.7, 0.1, 0.1, 0.1]),
        }
    )  # fmt: skip
    rebuilds.loc[rebuilds["reason"] != "breakdown", "failed_part"] = rng.choice(["", "none"])
    looked = int(rng.integers(0, 12))
    at = rng.integers(0, many, looked)
    findings = pd.DataFrame(
        {
            "rebuild_id": rebuilds["rebuild_id"].to_numpy()[at],
            "pump_id": rebuilds["pump_id"].to_numpy()[at],
            "part": rng.choice(["diaphragm", "ball", "seat", "all_fluid", "manifold"], looked),
            "position": rng.choice(["", "left", "suction_left", "unknown"], looked),
            "found": rng.choice(["failed", "worn", "sound", "not_checked"], looked),
            "action": rng.choice(["renewed", "kept", "cleaned", "turned"], looked),
        }
    )
    moved = int(rng.integers(0, 4))
    moves = pd.DataFrame(
        {
            "pump_id": rng.choice(["P-1", "P-2", "P-3"], moved),
            "moved_on": [on_day(one) for one in rng.integers(10, 700, moved)],
            "service": rng.choice(["glaze", "slip", ""], moved),
            "state": rng.choice(["in_service", "in_store"], moved),
        }
    ).drop_duplicates(["pump_id", "moved_on"])
    read = np.sort(rng.integers(0, 730, int(rng.integers(0, 25))))
    readings = pd.DataFrame(
        {
            "pump_id": rng.choice(["P-1", "P-2"], len(read)),
            "read_on": [on_day(one) for one in read],
            "reading": np.round(read * 10.0 * rng.choice([1.0, 1.0, 1.0, 0.1], len(read)), 1),
        }
    ).drop_duplicates(["pump_id", "read_on"])
    return {"rebuilds": rebuilds, "findings": findings, "moves": moves, "readings": readings}


def build(tables: Tables) -> Built:
    with tempfile.TemporaryDirectory() as folder:
        records = read_records(small_plant(Path(folder) / "plant", **tables))
    duty = build_duty(records)
    clock = build_clock(records, duty)
    return records, clock, build_lives(records, duty, clock)


def told(lives: Lives) -> pd.DataFrame:
    """The lives in an order of their own."""
    return lives.table[KEYS].sort_values(KEYS).reset_index(drop=True)


def usable(tables: Tables) -> bool:
    """Whether some ticket lies inside the window, without which reading stops."""
    rows = tables["rebuilds"]
    inside = rows["opened_on"].between(on_day(0), f"{LAST_DAY:%Y-%m-%d}")
    return bool((inside & (rows["pump_id"] != "P-9")).any())


@FEW
@given(plants(), st.integers(0, 1000))
def test_the_order_of_rows_tells_nothing(tables: Tables, seed: int) -> None:
    if not usable(tables):
        return
    # rows of one day and pump are told apart by their order alone: one ticket a day here
    tables["rebuilds"] = tables["rebuilds"].drop_duplicates(["pump_id", "opened_on"])
    kept = tables["findings"]["rebuild_id"].isin(tables["rebuilds"]["rebuild_id"])
    tables["findings"] = tables["findings"][kept].drop_duplicates(["rebuild_id", "part"])
    mixed = {name: rows.sample(frac=1.0, random_state=seed) for name, rows in tables.items()}
    pd.testing.assert_frame_equal(told(build(tables)[2]), told(build(mixed)[2]))


@FEW
@given(plants(), st.integers(1, 729), st.integers(0, 60))
def test_two_exports_of_a_window_give_what_one_gives(
    tables: Tables, cut: int, overlap: int
) -> None:
    """The second export begins where the first ends, or some days before."""
    if not usable(tables):
        return
    dated = {"rebuilds": "opened_on", "readings": "read_on", "moves": "moved_on"}
    split = dict(tables)
    for name, column in dated.items():
        day = tables[name][column].astype(object)
        early = np.array([one <= on_day(cut) for one in day], dtype=bool)
        late = np.array([one > on_day(cut - overlap) for one in day], dtype=bool)
        parts = [tables[name][early], tables[name][late]]
        split[name] = pd.concat(parts)
    pd.testing.assert_frame_equal(told(build(tables)[2]), told(build(split)[2]))


@FEW
@given(plants())
def test_what_holds_of_every_life(tables: Tables) -> None:
    if not usable(tables):
        return
    records, clock, lives = build(tables)
    table = lives.table
    shares = table[["measured_share", "bridged_share", "assumed_share"]].to_numpy()
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    assert (shares >= 0).all()
    reached = table["upper"].where(np.isfinite(table["upper"]), table["lower"])
    assert (table["entry"] >= 0).all()
    assert (table["entry"] <= table["lower"]).all()
    assert (table["lower"] <= table["upper"]).all()
    # a failure at once after a move is the only life that may be observed for no time at all
    none = table["entry"] >= reached
    assert table.loc[none, "outcome"].isin(["failed", "worn"]).all()
    _check_positions(records, clock, lives)
    _check_account(records, lives)


def _check_positions(records: Records, clock: UsageClock, lives: Lives) -> None:
    """Lives of a position never overlap; together they last no longer than the pump ran."""
    assert lives.gathered is not None
    history = lay_history(lives.gathered, np.arange(len(records.pumps)))
    spans = judge_spans(history, lay_points(history))
    spans = spans[spans["keep"]].sort_values(["pos", "start"])
    same = spans["pos"].eq(spans["pos"].shift())
    assert (spans["start"] >= spans["end"].shift())[same].all()
    first, last = records.plant.window()
    pump = np.arange(len(records.pumps))
    ran = clock.usage(pump, np.full(len(pump), last)) - clock.usage(pump, np.full(len(pump), first))
    lived = (spans["age"] - spans["entry"]).groupby(spans["pos"]).sum()
    owner = history.positions["pump"].to_numpy()[lived.index]
    assert (lived.to_numpy() <= ran[owner] + 1e-6).all()


def _check_account(records: Records, lives: Lives) -> None:
    """Accounted is received, each row once; a breakdown gave a failure, or a reason why not."""
    account = lives.account
    for kind, table in (("ticket", "rebuilds"), ("finding", "findings")):
        mine = account[account["kind"] == kind]
        assert mine["count"].sum() == len(records.table(table)) + records.aside.get(table, 0)
        assert not mine["rows"].duplicated().any()
    assert set(account["status"]) <= {"used", "used with an assumption", "set aside"}
    assert (account.loc[account["status"] != "used", "reason"] != "").all()
    tickets = account[account["kind"] == "ticket"].set_index("rows")
    rebuilds = records.table("rebuilds")
    down = tickets.loc[rebuilds.loc[rebuilds["reason"] == "breakdown", "row"].astype(str)]
    used = down[down["status"] == "used"]
    gave = used["reason"].str.contains(r"[1-9]\d* failure", regex=True)
    assert used.loc[~gave, "reason"].str.contains("No failure counts|no part failed").all()


def test_the_small_plant_has_the_parts_that_the_properties_speak_of() -> None:
    assert [row["part"] for row in part_rows()] == ["diaphragm", "ball", "seat"]
    assert [row["pump_id"] for row in pump_rows()] == ["P-1", "P-2", "P-3"]
