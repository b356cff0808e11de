"""The pumps of small invented works: how many groups a service has, how big, and how they run."""

import numpy as np
import pandas as pd

SIZES = (25, 40, 50, 80)
Group = tuple[int, float]  # pumps, and failures that the records hold of them, about


def draw_pumps(
    rng: np.random.Generator, table: pd.DataFrame, years: float, *, even: bool
) -> pd.DataFrame:
    """Pumps of one to four groups a service, each running as much as brings 0 to 60 failures.

    Parameters
    ----------
    rng : Generator
    table : DataFrame
        One row per service: service, material, typical (mean usage to a failure) [h].
    years : float
        Of the records [years].
    even : bool
        Each group by itself: 2 to 25 pumps and up to 60 failures, as likely each.  Else services
        share their failures out among groups, few failures and small groups the likelier.
    """
    rows = []
    for number, service in table.iterrows():
        groups = _draw_even(rng) if even else _draw_shared(rng)
        least, most = (1.0, 168.0) if even else (3.0, 160.0)
        for size, (pumps, failures) in zip(rng.permutation(SIZES), groups, strict=False):
            a_week = failures * service["typical"] / pumps / years / 52.18
            for _ in range(pumps):
                rate = float(np.clip(a_week * rng.uniform(0.8, 1.25), least, most))
                rows.append((number, service["service"], int(size), service["material"], rate))
    pumps = pd.DataFrame(rows, columns=["number", "service", "size_mm", "material", "use_per_week"])
    late = np.floor(rng.uniform(0.0, 0.3, len(pumps)) * years * 365.25)
    late = np.where(rng.random(len(pumps)) < 0.3, late, 0.0)
    last = np.floor(years * 365.25)
    return pumps.assign(
        pump_id=[f"P-{number:04d}" for number in range(len(pumps))],
        kit=[f"FK-{size}-{material}" for size, material in
             zip(pumps["size_mm"], pumps["material"], strict=True)],
        first=late,
        last=last,
        usage=(last - late) * pumps["use_per_week"] / 7.0,
        rate=pumps["use_per_week"] / 7.0,
    )  # fmt: skip


def _draw_even(rng: np.random.Generator) -> list[Group]:
    count = int(rng.choice([1, 1, 2, 3]))
    return [(int(rng.integers(2, 26)), float(rng.uniform(0.0, 60.0))) for _ in range(count)]


def _draw_shared(rng: np.random.Generator) -> list[Group]:
    count = int(rng.choice([1, 1, 1, 2, 3, 4]))
    most = 25 if count == 1 else 8
    wanted = float(np.exp(rng.uniform(np.log(1.5), np.log(150.0))))
    each = [round(float(np.exp(rng.uniform(np.log(2.0), np.log(most))))) for _ in range(count)]
    return [(pumps, wanted * pumps / sum(each)) for pumps in each]
