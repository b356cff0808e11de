"""A small invented study, made by hand: enough of everything that the report reads."""

from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pumplife.records.duty import Duty
from pumplife.weibull.draws import LifeDraws

FIRST_DAY = 17897.0  # 1 January 2019


@dataclass
class HandCurve:
    """A cost curve: planned work pays when `ratio` is large."""

    title: str
    interval: float
    near_best_low: float
    near_best_high: float
    t: np.ndarray = field(default_factory=lambda: np.linspace(200.0, 16000.0, 160))
    run_to_failure: float = 420.0
    today: float = 455.0
    failure: float = 3600.0

    def __post_init__(self) -> None:
        planned, failure, shape, scale = 700.0, self.failure, 2.6, 6500.0
        alive = np.exp(-((self.t / scale) ** shape))
        area = np.cumsum(alive) * (self.t[1] - self.t[0]) + 200.0
        self.mean = 1000 * (planned * alive + failure * (1 - alive)) / area
        self.low, self.high = 0.85 * self.mean, 1.2 * self.mean
        self.run_to_failure = float(self.mean[-1])


SERVICES = ("glaze slip", "filter sludge", "caustic")


def _intervals() -> pd.DataFrame:
    base = {
        "size_mm": 50.0,
        "side": "fluid",
        "kit": "KF-50-NBR",
        "hazard": "none",
        "pumps": 12,
        "interval_weeks": 41.0,
        "cost_rate_run_to_failure": 420.0,
        "cost_rate_today": 455.0,
        "prob_better": 0.97,
        "saving_low": 2100.0,
        "saving_high": 14000.0,
        "ruptures_per_year": 3.2,
        "binding_limit": "",
        "rate_unit": "per 1,000 h",
        "failure_prob_at_interval": 0.14,
        "loss_if_wrong": 0.0,
        "saving_vs_run_to_failure": 7000.0,
        "saving_cash": 4000.0,
        "saving_labour_h": 80.0,
        "saving_downtime_h": 60.0,
    }
    rows = [
        base
        | {
            "service": "glaze slip",
            "policy": "planned kit",
            "interval": 3180.0,
            "near_best_low": 2300.0,
            "near_best_high": 4700.0,
            "cost_rate": 311.0,
            "saving_per_year": 8123.4,
            "verdict": "Planned kits pay.",
        },
        base
        | {
            "service": "filter sludge",
            "policy": "run to failure",
            "interval": np.nan,
            "near_best_low": 9000.0,
            "near_best_high": np.nan,
            "cost_rate": 420.0,
            "saving_per_year": 0.0,
            "prob_better": 0.31,
            "interval_weeks": np.nan,
            "verdict": "Run to failure: planned work does not pay.",
        },
        base
        | {
            "service": "caustic",
            "policy": "",
            "interval": np.nan,
            "near_best_low": np.nan,
            "near_best_high": np.nan,
            "cost_rate": np.nan,
            "saving_per_year": np.nan,
            "verdict": "No fit for the seat: withheld.",
            "prob_better": np.nan,
        },
    ]
    return pd.DataFrame(rows)


def _due(today: pd.Timestamp) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    count = 40
    days = rng.integers(-60, 500, count)
    return pd.DataFrame(
        {
            "pump_id": [f"P-{n:03d}" for n in range(count)],
            "site": "north",
            "location": "",
            "service": "glaze slip",
            "side": np.where(np.arange(count) % 3 == 0, "air", "fluid"),
            "kit": "KF-50-NBR",
            "age_now": rng.uniform(100, 5000, count),
            "age_known": "yes",
            "due_usage": np.where(np.arange(count) % 5 == 4, np.nan, 3180.0),
            "due_on": today + pd.to_timedelta(days, unit="D"),
            "do_on": today + pd.to_timedelta(np.maximum(days, 0), unit="D"),
            "priority": np.arange(1, count + 1),
            "overdue_by": np.where(days < 0, -days * 10.0, 0.0),
            "kit_ready": "on shelf",
            "moved_because": "",
            "failure_prob_13_weeks": rng.uniform(0, 0.3, count),
            "ticket_id": [f"T-{n:03d}" for n in range(count)],
        }
    )


def _fits() -> pd.DataFrame:
    rows = [
        {
            "service": service,
            "size_mm": np.nan,
            "side": "fluid",
            "part": "diaphragm",
            "position": "",
            "mode": "",
            "material": material,
            "variant": "",
            "endpoint": "failed",
            "failures": failures,
            "suspensions": 40.0,
            "shape": 2.5,
            "shape_low": 1.9,
            "shape_high": 3.2,
            "scale": scale,
            "scale_low": 0.8 * scale,
            "scale_high": high * scale,
            "b10": 0.4 * scale,
            "b10_low": 0.3 * scale,
            "b10_high": 0.5 * scale,
            "mean_life": 0.9 * scale,
            "early_share": 0.04,
            "method": "posterior",
            "verdict": "wears out",
        }
        for service, material, failures, scale, high in (
            ("glaze slip", "NBR", 63.0, 6500.0, 1.2),
            ("glaze slip", "TPV", 21.0, 9800.0, 1.4),
            ("filter sludge", "CR", 34.0, 4200.0, 1.3),
            ("caustic", "EPDM", 2.0, 15000.0, np.inf),
        )
    ]
    return pd.DataFrame(rows)


def _lives() -> pd.DataFrame:
    rng = np.random.default_rng(11)
    life = 6500 * rng.weibull(2.5, 120)
    limit = rng.uniform(2000, 9000, 120)
    outcome = np.where(life < limit, "failed", "suspended").astype(object)
    lower = np.minimum(life, limit)
    upper = np.where(outcome == "failed", lower, np.inf)
    outcome[:6], upper[:6], lower[:6] = "failed_between", 4500.0, 3000.0
    return pd.DataFrame(
        {
            "pump_id": [f"P-{n % 12:03d}" for n in range(120)],
            "site": "north",
            "service": "glaze slip",
            "size_mm": 50.0,
            "side": "fluid",
            "part": "diaphragm",
            "position": np.where(np.arange(120) % 2, "left", "right"),
            "material": "NBR",
            "variant": "",
            "start_on": pd.Timestamp("2020-01-01"),
            "end_on": pd.Timestamp("2021-01-01"),
            "entry": np.where(np.arange(120) % 4, 0.0, 500.0),
            "lower": np.maximum(lower, 600.0),
            "upper": upper,
            "outcome": outcome,
            "mode": "",
            "endpoint": "failed",
            "usage_grade": "measured",
            "source_rows": "rebuilds 12",
            "weight": 1.0,
        }
    )


def _budget() -> pd.DataFrame:
    rows = [
        {
            "year": year,
            "site": site,
            "scenario": scenario,
            "quantity": quantity,
            "p50": level * size,
            "p80": 1.15 * level * size,
            "p90": 1.25 * level * size,
            "mean": 1.02 * level * size,
        }
        for year in (1, 2, 3)
        for site in ("all", "north")
        for scenario, level in (("today", 1.0), ("advised", 0.8), ("run_to_failure", 1.1))
        for quantity, size in (("money", 152000.0), ("kits", 88.0))
    ]
    return pd.DataFrame(rows)


def _stock() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "store": ["north", "north"],
            "item": ["KF-50-NBR", "KA-50"],
            "kind": "kit",
            "lead_time_days": [35.0, 50.0],
            "demand_per_year": [14.2, 5.1],
            "reorder_point": [4.0, 2.0],
            "order_up_to": [6.0, 3.0],
            "shortage_prob": [0.03, 0.0004],
            "fill_rate": [0.962, 0.995],
            "capital": [2310.0, 800.0],
            "today_on_hand": [2.0, 9.0],
            "limited_by": "target",
            "verdict": ["Order 4 now.", "Nine on hand are more than needed."],
        }
    )


def _orders(today: pd.Timestamp) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "store": ["north"],
            "item": ["KF-50-NBR"],
            "quantity": [4.0],
            "needed_by": [today + pd.Timedelta(days=40)],
            "order_by": [today],
            "why": ["three rebuilds fall due within the lead time"],
        }
    )


def _audit() -> pd.DataFrame:
    rows = [
        {
            "severity": "caution",
            "table": "rebuilds",
            "row": float(row),
            "pump_id": "P-001",
            "rule": "unknown pump",
            "what": "pump 'P-0l1' is not in pumps",
            "consequence": "The row is set aside.",
            "remedy": "correct the pump_id",
        }
        for row in range(2, 9)
    ]
    rows.append(
        {
            "severity": "caution",
            "table": "rebuilds",
            "row": 30.0,
            "pump_id": "P-004",
            "rule": "blank kit",
            "what": "<b>no kit</b> & no part",
            "remedy": "name the kit",
            "consequence": "only the blamed part counts as renewed",
        }
    )
    rows.append(
        {
            "severity": "note",
            "table": "rebuilds",
            "row": np.nan,
            "pump_id": "",
            "rule": "account",
            "remedy": "",
            "consequence": "The table account says of each which, and why.",
            "what": "Of 127 ticket rows: 109 used, 11 used with an assumption, 7 set aside.",
        }
    )
    rows.append(
        {
            "severity": "note",
            "table": "",
            "row": np.nan,
            "pump_id": "",
            "rule": "service level",
            "what": "targets.service_level is not given",
            "consequence": "0.95 is used",
            "remedy": "",
        }
    )
    return pd.DataFrame(rows)


def _account() -> pd.DataFrame:
    """What became of 127 ticket rows, 40 findings and 300 stretches of positions."""
    counts = {
        "ticket": (109, 11, 7),
        "finding": (38, 0, 2),
        "position": (250, 30, 20),
    }
    statuses = ("used", "used with an assumption", "set aside")
    same = {"key": "R-1", "pump_id": "P-001", "rows": "2", "reason": "for a reason"}
    rows = [
        {"kind": kind, **same, "count": count, "status": status}
        for kind, many in counts.items()
        for status, count in zip(statuses, many, strict=True)
        if count
    ]
    return pd.DataFrame(rows)


@dataclass
class HandRisk:
    store: str
    item: str
    reorder_point: float
    level: np.ndarray = field(default_factory=lambda: np.arange(0.0, 12.0))
    mean: float = 2.0

    @property
    def shortage_prob(self) -> np.ndarray:
        from scipy.stats import poisson

        return np.asarray(poisson.sf(self.level, self.mean))


def make_rows(lives: pd.DataFrame) -> SimpleNamespace:
    """The lives above as the arrays that were fitted: all of them in the first group."""
    names = ("lower", "upper", "entry", "weight")
    arrays = {name: lives[name].to_numpy(dtype=float) for name in names}
    return SimpleNamespace(**arrays, group=np.zeros(len(lives), dtype=int))


def make_duty() -> Duty:
    """Twelve pumps, the last of which moves from glaze slip to caustic after three years."""
    pump = np.array([*range(12), 11])
    start = np.array([-np.inf] * 12 + [FIRST_DAY + 3 * 365.25])
    end = np.array([np.inf] * 11 + [FIRST_DAY + 3 * 365.25, np.inf])
    stints = pd.DataFrame(
        {
            "pump": pump,
            "from_day": start,
            "to_day": end,
            "in_service": True,
            "service": ["glaze slip"] * 12 + ["caustic"],
            "location": "",
            "site": "north",
        }
    )
    return Duty(stints=stints, commissioned=np.full(12, np.nan), retired=np.full(12, np.nan))


def make_visits() -> SimpleNamespace:
    """A breakdown a year in every pump, and one planned visit."""
    days = FIRST_DAY + 365.25 * (np.arange(6) + 0.5)
    visits = pd.DataFrame(
        {"pump": np.repeat(np.arange(12), 6), "day": np.tile(days, 12), "breakdown": True}
    )
    visits = visits.assign(rebuild_id=[f"R{n}" for n in range(len(visits))])
    visits.loc[0, "breakdown"] = False
    return SimpleNamespace(visits=visits, gathered=None)


def make_study(folder: Path, **changes: Any) -> SimpleNamespace:
    """Everything the report reads, invented."""
    today = pd.Timestamp("2025-06-30")
    tables = {
        "audit": _audit(),
        "account": _account(),
        "lives": _lives(),
        "fits": _fits(),
        "intervals": _intervals(),
        "due": _due(today),
        "stock": _stock(),
        "orders": _orders(today),
        "budget": _budget(),
    } | changes.pop("tables", {})
    plant = SimpleNamespace(
        name="Invented Works",
        currency="EUR",
        usage_unit="hours",
        records_from=pd.Timestamp("2019-01-01"),
        records_to=today,
        raw={"plant": {"name": "Invented Works", "invented": True}},
        window=lambda site="": (FIRST_DAY, FIRST_DAY + 2372.0),
    )
    records = SimpleNamespace(
        plant=plant,
        tables={"rebuilds": pd.DataFrame({"rebuild_id": np.arange(140)})},
        hashes={"rebuilds.csv": "0" * 64},
        source=folder / "plant",
    )
    rng = np.random.default_rng(3)
    scales = tables["fits"]["scale"].to_numpy(dtype=float)[:, None]
    noise = rng.normal(size=(2, len(scales), 200))
    draws = LifeDraws(
        early_share=np.zeros(noise.shape[1:]),
        early_scale=np.ones(noise.shape[1:]),
        shape=2.5 * np.exp(0.15 * noise[0]),
        scale=scales * np.exp(0.1 * noise[1]),
    )
    curves = [
        HandCurve("Glaze slip, 50 mm, fluid side", 3180.0, 2300.0, 4700.0),
        HandCurve("Filter sludge, 50 mm, fluid side", np.inf, 9000.0, np.inf, failure=1100.0),
        None,
    ]
    risk = [HandRisk("north", "KF-50-NBR", 4.0), HandRisk("north", "KA-50", 2.0, mean=0.7)]
    study = SimpleNamespace(
        records=records,
        tables=tables,
        seed=1,
        duty=make_duty(),
        clock=None,
        lives=make_visits(),
        fits=SimpleNamespace(table=tables["fits"], draws=draws, taken=make_rows(tables["lives"])),
        advice=SimpleNamespace(
            curves=curves,
            doubts=(),
            groups=[SimpleNamespace(fit_rows=np.array(rows)) for rows in ([0], [2], [-1])],
        ),
        stock=SimpleNamespace(curves=risk),
    )
    for name, value in changes.items():
        setattr(study, name, value)
    return study


@pytest.fixture
def study(tmp_path: Path) -> SimpleNamespace:
    return make_study(tmp_path)


@pytest.fixture
def study_maker() -> Any:
    return make_study
