"""The invented pumps: where they stand, what they move, how fast they run, how they are kept."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from .truth import MATERIALS, SERVICES, Floats

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

FROM = float(np.datetime64("2019-01-01").astype(int))  # the window that the records cover [day]
TO = float(np.datetime64("2025-06-30").astype(int))
EDGES = np.arange("2013-12", "2025-09", dtype="datetime64[M]").astype("datetime64[D]").astype(float)
BIG = 2e5  # more than any day or usage: keeps the pumps apart on one axis of interpolation
MONTH = 365.25 / 12

HOURS_PER_YEAR = {
    "body slip": 5_300.0,
    "glaze": 3_000.0,
    "press sludge": 3_500.0,
    "caustic wash": 1_700.0,
    "wash solvent": 1_500.0,
}
SITES = ("clay works", "glaze works", "frit works")
STORES = {"clay works": "main store", "glaze works": "glaze store", "frit works": "main store"}
SHORT = {"body slip": "SL", "glaze": "GL", "press sludge": "PR", "caustic wash": "CA"}
SHORT["wash solvent"] = "SO"

# service, site, size [mm], material, pumps, months between planned kits (0 = none) in turn,
# months between inspections (0 = none) in turn
GROUPS = (
    ("body slip", "clay works", 50, "CR", 10, (0, 0, 12), (0,)),
    ("body slip", "clay works", 80, "CR", 8, (0, 0, 0, 12), (0,)),
    ("body slip", "clay works", 80, "TPV", 10, (0, 0, 12), (0,)),
    ("glaze", "glaze works", 25, "NBR", 8, (0, 12), (6, 0)),
    ("glaze", "glaze works", 40, "NBR", 8, (0, 12), (6, 0)),
    ("glaze", "glaze works", 40, "TPV", 5, (0, 24), (6, 0)),
    ("glaze", "frit works", 50, "TPV", 5, (0, 0, 24), (0,)),
    ("press sludge", "clay works", 50, "CR", 6, (0, 12), (6, 0)),
    ("press sludge", "clay works", 80, "CR", 4, (0, 6), (6, 0)),
    ("press sludge", "clay works", 50, "TPV", 4, (0, 12), (6, 0)),
    ("caustic wash", "frit works", 25, "EPDM", 6, (12,), (0,)),
    ("caustic wash", "frit works", 40, "EPDM", 5, (24,), (0,)),
    ("wash solvent", "glaze works", 25, "PTFE", 5, (12, 18), (0,)),
    ("wash solvent", "glaze works", 40, "PTFE", 4, (12, 6), (0,)),
    ("wash solvent", "frit works", 25, "FKM", 2, (6,), (0,)),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Fleet:
    """Every pump, one entry per pump in each array; days count from 1970-01-01.

    Attributes
    ----------
    register : DataFrame
        pump_id, site, service, size_mm, location, later_location, standby, hazard, use_per_week.
    service, material, later_material : int arrays (pumps,)
        Codes into SERVICES and MATERIALS; `later_material` is fitted from `modified_on`.
    commissioned, retired, stored, returned, modified_on : float arrays (pumps,) [day]
        inf where it never happens.
    planned, inspected : float arrays (pumps,) [day]
        Days between planned kits and between inspections; inf where there are none.
    usage_at_edges : float array (pumps, EDGES) [h]
    """

    register: pd.DataFrame
    service: Ints
    material: Ints
    later_material: Ints
    commissioned: Floats
    retired: Floats
    stored: Floats
    returned: Floats
    modified_on: Floats
    planned: Floats
    inspected: Floats
    usage_at_edges: Floats

    def __len__(self) -> int:
        return len(self.service)

    @property
    def last_day(self) -> Floats:
        """The last day of each pump in the records [day]."""
        return np.minimum(self.retired, TO)

    def usage(self, pump: Any, day: Any) -> Floats:
        """Hours run since an origin of each pump's own [h]."""
        base = pump * BIG
        axis = (np.arange(len(self))[:, None] * BIG + EDGES).ravel()
        return np.asarray(np.interp(base + day, axis, self.usage_at_edges.ravel()))

    def day(self, pump: Any, usage: Any) -> Floats:
        """The day on which a pump reaches that usage [day]; inf beyond the end of the records."""
        base = pump * BIG
        axis = (np.arange(len(self))[:, None] * BIG + self.usage_at_edges).ravel()
        days = np.interp(base + np.minimum(usage, BIG / 2), axis, np.tile(EDGES, len(self)))
        return np.where(usage < self.usage_at_edges[pump, -1], days, np.inf)


def build_fleet(times: int, rng: np.random.Generator) -> Fleet:
    """The fleet: GROUPS, `times` over."""
    register = _register(times)
    n = len(register)
    commissioned, retired = _first_and_last(n, rng)
    stored, returned = _stays_in_store(commissioned, retired, rng)
    material = np.array([MATERIALS.index(m) for m in register.pop("material")])
    later, modified_on = _changes_of_material(register, material, commissioned, rng)
    rates = _rates(register, rng)
    idle = (stored[:, None] <= EDGES[:-1]) & (returned[:, None] > EDGES[:-1])
    hours = np.where(idle, 0.0, rates) * np.diff(EDGES)
    register["use_per_week"] = np.round(rates.mean(axis=1) * 7 * rng.lognormal(0, 0.008, n), 1)
    register["later_location"] = register.location + "B"
    return Fleet(
        service=np.array([SERVICES.index(s) for s in register.service]),
        material=material,
        later_material=later,
        commissioned=commissioned,
        retired=retired,
        stored=stored,
        returned=returned,
        modified_on=modified_on,
        planned=_days_between(register.pop("planned")),
        inspected=_days_between(register.pop("inspected")),
        usage_at_edges=np.concatenate([np.zeros((n, 1)), hours.cumsum(axis=1)], axis=1),
        register=register,
    )


def _days_between(months: pd.Series) -> Floats:
    return np.where(months == 0, np.inf, months.to_numpy(float) * MONTH)


def _register(times: int) -> pd.DataFrame:
    rows = [
        (service, site, size, material, plans[i % len(plans)], looks[i % len(looks)])
        for service, site, size, material, pumps, plans, looks in GROUPS
        for i in range(pumps * times)
    ]
    names = ["service", "site", "size_mm", "material", "planned", "inspected"]
    table = pd.DataFrame(rows, columns=names)
    wide = len(str(len(table) + 1))
    number = pd.Series(range(1, len(table) + 1)).astype(str).str.zfill(max(3, wide))
    table.insert(0, "pump_id", "P-" + number)
    within = (table.groupby("service").cumcount() + 1).astype(str).str.zfill(2)
    table["location"] = table.service.map(SHORT) + "-" + within
    table["hazard"] = np.where(table.service.isin(SERVICES[3:]), "hazardous", "none")
    table["standby"] = table.service.map({"caustic wash": "installed", "glaze": "by_hand"})
    table["standby"] = table.standby.fillna("none")
    return table


def _first_and_last(n: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Commissioned up to five years before the window, or inside it; one in thirty retires."""
    before = rng.uniform(FROM - 5 * 365, FROM, n)
    inside = rng.uniform(FROM, FROM + 4 * 365, n)
    commissioned = np.floor(np.where(rng.random(n) < 0.62, before, inside))
    retires = rng.random(n) < 1 / 30
    retired = np.floor(rng.uniform(FROM + 4.5 * 365, TO - 90, n))
    return commissioned, np.where(retires, retired, np.inf)


def _stays_in_store(
    commissioned: Floats, retired: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """About one pump in fifteen spends some months in the store, first of the month to first."""
    n = len(commissioned)
    months = np.flatnonzero((FROM + 300 < EDGES) & (TO - 600 > EDGES))
    start = rng.choice(months, n)
    stay = start + rng.integers(3, 9, n)
    chosen = rng.random(n) < 1 / 15
    chosen &= (commissioned + 200 < EDGES[start]) & np.isinf(retired)
    return np.where(chosen, EDGES[start], np.inf), np.where(chosen, EDGES[stay], np.inf)


def _changes_of_material(
    register: pd.DataFrame, material: Ints, commissioned: Floats, rng: np.random.Generator
) -> tuple[Ints, Floats]:
    """Every third 40 mm NBR glaze pump goes over to TPV in 2022."""
    glaze = (register.service == "glaze") & (register.size_mm == 40)
    chosen = (glaze & (material == MATERIALS.index("NBR"))).to_numpy()
    chosen &= (np.arange(len(register)) % 3 == 0) & (commissioned < FROM + 2 * 365)
    day = np.floor(rng.uniform(FROM + 3 * 365, FROM + 4 * 365, len(register)))
    later = np.where(chosen, MATERIALS.index("TPV"), material)
    return later, np.where(chosen, day, np.inf)


def _rates(register: pd.DataFrame, rng: np.random.Generator) -> Floats:
    """Hours a day, (pumps, months): own level, season and month to month, never over 22."""
    n, months = len(register), len(EDGES) - 1
    level = register.service.map(HOURS_PER_YEAR).to_numpy(float) / 365.25
    own = level * rng.lognormal(0, 0.22, n)
    season = 1 + 0.04 * np.sin(2 * np.pi * (np.arange(months) - 3) / 12)
    noise = rng.lognormal(0, 0.04, (n, months))
    return np.minimum(own[:, None] * season * noise, 22.0)
