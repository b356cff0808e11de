"""The pumps that run today, side by side: duty, kit, and the clock of each side."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.records.duty import Duty
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock


def duty_today(records: Records, duty: Duty) -> pd.DataFrame:
    """Duty of every pump at the end of the records, and whether it runs."""
    day = to_day(records.plant.records_to)
    pump = np.arange(len(records.pumps))
    today = duty.stints.iloc[duty.at(pump, np.full(pump.size, day))].reset_index(drop=True)
    gone = (duty.retired <= day) | (duty.commissioned > day)
    hazardous = today["hazard"].eq("hazardous")
    return today.assign(
        pump=pump,
        running=today["in_service"].to_numpy(bool) & ~gone,
        hazard=np.where(hazardous, "hazardous", "none"),
    )


def sides_today(
    records: Records, clock: UsageClock, lives: Lives, today: pd.DataFrame
) -> pd.DataFrame:
    """One row per side of a running pump: keys of its group, clock, rate, limit."""
    running = today[today["running"]]
    columns = ["pump", "site", "location", "store", "service", "size_mm", "hazard"]
    both = [_one_side(records, lives, running[columns], side) for side in ("fluid", "air")]
    sides = pd.concat(both, ignore_index=True)
    worn = set(zip(lives.now["pump"], lives.now["side"], strict=True))
    wears = [pair in worn for pair in zip(sides["pump"], sides["side"], strict=True)]
    sides = sides[(sides["kit"] != "") | np.array(wears, dtype=bool)].reset_index(drop=True)
    sides = _add_clock(records, clock, lives, sides)
    return sides.assign(rate=clock.rate[sides["pump"]])


def _one_side(records: Records, lives: Lives, running: pd.DataFrame, side: str) -> pd.DataFrame:
    """The pumps' rows for one side, with the kit fitted today and the limit."""
    pumps = records.pumps.iloc[running["pump"]]
    fitted = lives.now[(lives.now["side"] == side) & ~lives.now["kit"].isin(["", "none"])]
    seen = fitted.drop_duplicates("pump").set_index("pump")["kit"]
    kit = pumps[f"{side}_kit"].reset_index(drop=True)
    found = running["pump"].map(seen).fillna("").reset_index(drop=True)
    return running.reset_index(drop=True).assign(
        side=side,
        kit=kit.where(~kit.isin(["", "none"]), found),
        air_kit=pumps["air_kit"].to_numpy(),
        maximum=pumps[f"max_{side}_interval"].to_numpy(float),
        renewed=to_days(pumps[f"last_{side}_renewal_on"]),
        commissioned=to_days(pumps["commissioned_on"]),
    )


def _add_clock(
    records: Records, clock: UsageClock, lives: Lives, sides: pd.DataFrame
) -> pd.DataFrame:
    """Usage since the last renewal of the whole side: clock_age, clock_day, clock_known."""
    whole = lives.visits[lives.visits["whole"].astype(bool)]
    last = whole.groupby(["pump", "side"])["day"].max().rename("seen").reset_index()
    sides = sides.merge(last, on=["pump", "side"], how="left")
    windows = {site: records.plant.window(site) for site in sides["site"].unique()}
    start = sides["site"].map({site: pair[0] for site, pair in windows.items()}).to_numpy(float)
    end = to_day(records.plant.records_to)
    new = sides["commissioned"].where(sides["commissioned"] >= start)
    known_day = sides["seen"].fillna(sides["renewed"]).fillna(new).to_numpy(float)
    known = np.isfinite(known_day)
    day = np.where(known, known_day, start)
    pump = sides["pump"].to_numpy(np.int64)
    age = clock.usage(pump, np.full(pump.size, end)) - clock.usage(pump, day)
    age = np.maximum(np.nan_to_num(age), 0.0)
    return sides.assign(clock_age=age, clock_day=day, clock_known=known)
