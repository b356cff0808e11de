"""The hidden truth of the invented plant: how long each part lives and what a rebuild costs."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]

SERVICES = ("body slip", "glaze", "press sludge", "caustic wash", "wash solvent")
MATERIALS = ("CR", "NBR", "EPDM", "TPV", "PTFE", "FKM")

# the fourteen wearing positions of one pump, in the order of every (pump, position) array here
PARTS = ["diaphragm"] * 2 + ["ball"] * 4 + ["seat"] * 4
PARTS += ["air valve", "pilot valve", "rod seal", "rod seal"]
CHECKS = ("suction_left", "suction_right", "discharge_left", "discharge_right")
POSITIONS = ("left", "right", *CHECKS, *CHECKS, "single", "single", "left", "right")
PART = np.array(PARTS)
POSITION = np.array(POSITIONS)
IS_AIR = np.arange(len(PARTS)) >= 10
AIR_MATERIAL = {"air valve": "", "pilot valve": "", "rod seal": "NBR"}

# (service, material): (shape, scale [h]) of diaphragm, ball, seat
FLUID_LIVES = {
    ("body slip", "CR"): ((2.6, 9_500), (2.6, 17_000), (2.4, 21_000)),
    ("body slip", "TPV"): ((2.8, 15_000), (2.7, 21_000), (2.5, 25_000)),
    ("glaze", "NBR"): ((2.3, 5_200), (2.5, 10_500), (2.4, 13_000)),
    ("glaze", "TPV"): ((2.6, 9_500), (2.6, 13_000), (2.4, 15_500)),
    ("press sludge", "CR"): ((2.5, 6_000), (2.5, 11_000), (2.3, 13_500)),
    ("press sludge", "TPV"): ((2.7, 10_000), (2.6, 13_500), (2.4, 16_000)),
    ("caustic wash", "EPDM"): ((2.8, 7_500), (2.6, 24_000), (2.4, 30_000)),
    ("wash solvent", "PTFE"): ((2.9, 4_500), (2.6, 22_000), (2.4, 28_000)),
    ("wash solvent", "FKM"): ((2.4, 6_500), (2.5, 20_000), (2.4, 26_000)),
}
# service: (shape, scale [h]) of air valve, pilot valve, rod seal
AIR_LIVES = {
    "body slip": ((1.3, 16_000), (1.5, 32_000), (2.0, 27_000)),
    "glaze": ((1.3, 12_500), (1.5, 28_000), (2.0, 24_000)),
    "press sludge": ((1.3, 13_000), (1.5, 28_000), (2.0, 24_000)),
    "caustic wash": ((1.3, 14_000), (1.5, 30_000), (2.0, 25_000)),
    "wash solvent": ((1.3, 14_000), (1.5, 30_000), (2.0, 25_000)),
}

COSTS = {
    "labour_per_h": 48.0,
    "downtime_per_h": 90.0,
    "spill": 150.0,
    "call_out": 130.0,
    "order": 35.0,
    "expedite": 90.0,
    "waiting_per_day": 220.0,
    "holding_per_year": 0.18,
    "discount_per_year": 0.06,
    "opening_fault_probability": 0.0,  # mis-fitted diaphragms are in the lives already
    "foul_air_side_probability": 0.3,
}
SERVICE_COSTS = {
    "body slip": {"downtime_per_h": 240.0, "spill": 180.0},
    "glaze": {"downtime_per_h": 30.0, "spill": 150.0},
    "press sludge": {"downtime_per_h": 170.0, "spill": 260.0},
    "caustic wash": {"downtime_per_h": 60.0, "spill": 900.0},
    "wash solvent": {"downtime_per_h": 140.0, "spill": 3_000.0, "foul_air_side_probability": 0.4},
}
WORK = {
    "fluid": {
        "planned_labour_h": 3.0,
        "breakdown_labour_h": 5.0,
        "planned_downtime_h": 1.5,
        "breakdown_downtime_h": 8.0,
    },
    "air": {
        "planned_labour_h": 1.5,
        "breakdown_labour_h": 2.5,
        "planned_downtime_h": 1.0,
        "breakdown_downtime_h": 4.0,
    },
}


def table_of_lives() -> pd.DataFrame:
    """One row per service, part and material: shape and scale [h] of the wear-out life."""
    rows = [
        (service, part, material, *life)
        for (service, material), lives in FLUID_LIVES.items()
        for part, life in zip(("diaphragm", "ball", "seat"), lives, strict=True)
    ]
    rows += [
        (service, part, AIR_MATERIAL[part], *life)
        for service, lives in AIR_LIVES.items()
        for part, life in zip(AIR_MATERIAL, lives, strict=True)
    ]
    return pd.DataFrame(rows, columns=["service", "part", "material", "shape", "scale"])


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """What nobody at the plant knows.

    Attributes
    ----------
    lives : DataFrame
        service, part, material, shape, scale [h].
    early_share, early_scale : float
        Share of mis-fitted diaphragms and their mean life [h] (exponential). Hazardous pumps are
        leak-tested after fitting and have none.
    batch_share : float
        Share of mis-fitted diaphragms at one site during the three bad months.
    frailty_sd : float
        Spread of the pumps' own life factors (standard deviation of their logarithm).
    hidden_share : float
        Share of ball and seat failures that nobody notices until the pump is opened; only on
        pumps with planned rebuilds or inspections, and parts fitted inside the window.
    on_condition : float
        Chance that an inspection of a sludge pump renews a ball or seat that has spent two
        thirds of its life: such parts are pulled because they look worn, not because they failed.
    """

    lives: pd.DataFrame = field(default_factory=table_of_lives)
    early_share: float = 0.04
    early_scale: float = 250.0
    batch_share: float = 0.25
    frailty_sd: float = 0.0
    hidden_share: float = 0.5
    on_condition: float = 0.8

    def grids(self) -> tuple[Floats, Floats]:
        """Shape and scale [h] as arrays (service, material, position); NaN where never fitted."""
        size = (len(SERVICES), len(MATERIALS), len(PARTS))
        shape, scale = np.full(size, np.nan), np.full(size, np.nan)
        for service, part, material, *life in self.lives.itertuples(index=False, name=None):
            places = np.flatnonzero(part == PART)
            every = slice(None) if part in AIR_MATERIAL else MATERIALS.index(material)
            shape[SERVICES.index(service), every, places] = life[0]
            scale[SERVICES.index(service), every, places] = life[1]
        return shape, scale


def default_truth(*, faults: bool) -> Truth:
    """The truth of the demo; without faults nothing is mis-fitted or pulled on condition."""
    if faults:
        return Truth()
    return Truth(early_share=0.0, batch_share=0.0, on_condition=0.0)
