"""How service, material, size and duty stretch or shorten the life of each part."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import special

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.fits.build import ENDPOINTS, Fits
from pumplife.fits.duty_columns import (
    NUMBERS,
    SHARED,
    Aside,
    Effect,
    Floats,
    choose_effects,
    leave_out_rare,
    shared_parts,
)
from pumplife.fits.groups import EARLY_NOTICED, EARLY_OVER
from pumplife.lives.build import Lives
from pumplife.records.duty import Duty
from pumplife.records.plant import to_days
from pumplife.weibull.regression import RegressionFit, fit_regression

FEWEST = 30.0  # failures of a part, below which no effect is looked for
CONFIDENCE = 0.90
COLUMNS = [
    "side", "part", "effect", "life_ratio", "ratio_low", "ratio_high", "failures", "pumps", "note",
]  # fmt: skip


def find_duty_effects(fits: Fits, lives: Lives, duty: Duty) -> pd.DataFrame:
    """Find how much longer or shorter each part lives per service, material, size and duty.

    One Weibull regression per part over all its lives, early lives over; bounds are clustered by
    pump. An effect is asked for from 30 failures on and 10 per effect; levels need 5 failures on 3
    pumps.

    Parameters
    ----------
    fits : Fits
        Its rows are fitted; its early lives are left out.
    lives : Lives
    duty : Duty
        What each pump moved, at which pressure, temperature and stroke rate, when.

    Returns
    -------
    DataFrame
        side, part, effect, life_ratio with ratio_low and ratio_high (90 % bounds; NaN where there
        is no estimate), failures, pumps, note.
    """
    facts = gather_lives(fits, lives, duty)
    facts = facts[~facts["early"]]
    rows = [
        {"side": key[0], "part": key[1], **row}
        for key, part in facts.groupby(["side", "part"], sort=True)
        for row in _judge_part(part)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def gather_lives(fits: Fits, lives: Lives, duty: Duty) -> pd.DataFrame:
    """One row per fitted life: bounds of its wear and what it was exposed to.

    `life` is its row of the lives table, `usage` what it was watched for; `early` marks lives that
    were over before wear sets in, with the entry of the others moved to that age. In a group with
    hardly any early lives nothing is left out: that age may lie beyond most of its lives.
    """
    rows, table = fits.rows, fits.table
    about = lives.table.iloc[rows.life].reset_index(drop=True)
    stint = duty.stints.iloc[duty.worked_at(about["pump"], to_days(about["end_on"]))]
    many = table["early_share"] >= EARLY_NOTICED
    early = np.where(many, EARLY_OVER * table["early_scale"], 0.0)
    over = early[rows.group]
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    gone = (over > 0.0) & (reached <= over)
    material = (about["material"] + " " + about["variant"]).str.strip()
    facts = pd.DataFrame(
        {
            "side": about["side"],
            "part": about["part"],
            "pump": about["pump"],
            "service": about["service"],
            "material": material,
            "size": about["size_mm"].fillna(-1.0),
            "solids": stint["solids"].to_numpy(object),
            **{name: stint[name].to_numpy(float) for name in NUMBERS},
            "lower": rows.lower,
            "upper": rows.upper,
            "entry": np.minimum(np.maximum(rows.entry, over), rows.lower),
            "weight": rows.weight,
            "life": rows.life,
            "usage": rows.weight * (reached - rows.entry),
            "early": gone,
        }
    )
    facts["failures"] = facts["weight"] * np.isfinite(rows.upper)
    first = (table["endpoint"].eq(ENDPOINTS[0]) & table["mode"].eq("")).to_numpy()[rows.group]
    return facts[first & (facts["weight"] > 0.0)]


def _judge_part(part: pd.DataFrame) -> Iterator[dict[str, object]]:
    """Rows of one part: its effects, then what could not be told and why."""
    failures = part["failures"].sum()
    if failures < FEWEST:
        yield _say("any", f"too few failures: {FEWEST:g} are needed", part)
        return
    kept, left_out = leave_out_rare(part)
    if kept["failures"].sum() < FEWEST:
        note = f"too few failures among the rest: {FEWEST:g} are needed"
        yield _say("any", note, kept)
        not_chosen: list[Aside] = []
    else:
        effects, not_chosen = choose_effects(kept)
        yield from _judge_effects(kept, effects)
    for aside in (*left_out, *not_chosen):
        yield _say(aside.words, aside.note, aside.lives)


def _judge_effects(lives: pd.DataFrame, effects: list[Effect]) -> Iterator[dict[str, object]]:
    pumps = lives["pump"].nunique()
    if not effects:
        yield _say("any", "service, material, size and duty are alike for all its lives", lives)
    elif pumps <= len(effects) + 1:
        yield _say("any", f"too few pumps for {len(effects)} effects", lives)
    else:
        yield from _fit_part(lives, effects)


def _say(words: str, note: str, lives: pd.DataFrame) -> dict[str, object]:
    return _row(words, np.full(3, np.nan), lives, note)


def _row(words: str, ratio: Floats, lives: pd.DataFrame, note: str) -> dict[str, object]:
    return {
        "effect": words,
        "life_ratio": ratio[0],
        "ratio_low": ratio[1],
        "ratio_high": ratio[2],
        "failures": float(lives["failures"].sum()),
        "pumps": int(lives["pump"].nunique()),
        "note": note,
    }


def _fit_part(lives: pd.DataFrame, effects: list[Effect]) -> Iterator[dict[str, object]]:
    names = [one.words for one in effects]
    try:
        fit = fit_regression(
            lives["lower"],
            lives["upper"],
            lives["entry"],
            lives["weight"],
            covariates=np.column_stack([one.values for one in effects]),
            names=names,
            cluster=lives["pump"].to_numpy(),
            confidence=CONFIDENCE,
        )
    except (NoFiniteEstimate, RecordError) as problem:
        yield _say("any", str(problem), lives)
        return
    shared = shared_parts(effects)
    for place, effect in enumerate(effects):
        ratio = _ratio(fit, place + 1, effect.step)
        notes = _notes(lives, effect, ratio, float(shared[place]))
        yield _row(effect.words, ratio, lives[effect.marked], "; ".join(notes))


def _ratio(fit: RegressionFit, place: int, step: float) -> Floats:
    """Return life ratio, low and high; the wider of clustered and plain errors."""
    variance = max(fit.covariance[place, place], fit.plain_covariance[place, place])
    reach = float(special.stdtrit(fit.degrees, 0.5 + 0.5 * CONFIDENCE)) * np.sqrt(variance)
    middle = fit.estimate[place]
    return np.exp(np.clip(step * np.array([middle, middle - reach, middle + reach]), -50.0, 50.0))


def _notes(lives: pd.DataFrame, effect: Effect, ratio: Floats, shared: float) -> Iterator[str]:
    """What to know before an effect is believed."""
    if effect.also:
        yield f"confounded: holds {' and '.join(effect.also)} as well, they always go together"
    if shared > SHARED:
        yield f"{100 * shared:.0f} % of it goes with the other effects: hardly told apart"
    if effect.factor in NUMBERS and ratio[1] > 1.0:
        yield (
            "longer life with more of it is against common practice: look for what else differs "
            "between these pumps"
        )
    services = lives.loc[effect.marked, "service"].unique()
    if effect.factor == "material" and len(services) == 1:
        yield f"only fitted in {services[0]}: compared within that service alone"
