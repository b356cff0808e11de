"""Rules over makers' and legal limits, beside what the pumps run."""

import numpy as np
import pandas as pd

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import Story


def find_below_use(story: Story) -> pd.DataFrame:
    """Limits of pumps that are shorter than one day's usage."""
    pumps = story.records.pumps
    rate = np.asarray(story.clock.rate, dtype=np.float64)
    found = []
    for column in ("max_fluid_interval", "max_air_interval"):
        limit = pumps[column].to_numpy(dtype=np.float64)
        below = limit < rate
        what = [
            f"{column} is {least:g}, less than the {daily:.3g} that the pump runs in a day."
            for least, daily in zip(limit[below], rate[below], strict=True)
        ]
        found.append(tell(pumps[below], "pumps", what))
    return pd.concat(found, ignore_index=True)
