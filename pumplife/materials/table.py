"""The tables of materials: compared, exposed, priced."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.lives.positions import wearing_parts
from pumplife.materials.compare import Pair, compare_pairs, find_reference
from pumplife.materials.confirmed import is_confirmed, say_unknown_codes
from pumplife.materials.confounded import CONFOUNDED, EXPOSURE_COLUMNS, YES, explain_away, expose
from pumplife.materials.facts import gather_every, keep_written, say_blank
from pumplife.materials.modes import find_modes
from pumplife.materials.money import Choice, price_choices
from pumplife.materials.notes import note_alone, note_pair
from pumplife.materials.priced import COST_COLUMNS, price_table
from pumplife.materials.releases import compare_releases
from pumplife.materials.trial_follow import follow_trials
from pumplife.materials.trial_plans import propose_trials
from pumplife.policy.advice import Advice
from pumplife.policy.intervals_table import RATE_UNITS
from pumplife.records.duty import Duty
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

MATERIAL_COLUMNS = [
    "service", "size_mm", "side", "part", "material", "variant", "reference", "failures",
    "reference_failures", "usage", "pumps", "life_ratio", "ratio_low", "ratio_high",
    "likelihood_low", "likelihood_high", "posterior_low", "posterior_high", "prob_longer",
    "logrank_p", "shape_p", "cost_per_1000", "reference_cost_per_1000", "rate_unit",
    "prob_cheaper", "saving_per_year", "price_now", "price_break_even", "comparable",
    "explained_by", "doubted_by", "main_mode", "main_mode_share", "released_share",
    "compatibility_confirmed", "note",
]  # fmt: skip


SAID_FROM = 0.05  # log of how often failures release, over the reference's, from which it is said


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Materials:
    """Materials of the wearing parts side by side.

    Attributes
    ----------
    facts : DataFrame
        The lives behind it, from `gather_facts`.
    pairs : list of Pair
    choices : list of Choice
        Empty where prices lack.
    table, exposure, costs : DataFrame
        `MATERIAL_COLUMNS`, `EXPOSURE_COLUMNS`, `COST_COLUMNS`.
    trials : dict of DataFrame
        trials and trial_looks from `follow_trials`, trial_plans and trial_power from
        `propose_trials`.
    """

    facts: pd.DataFrame
    pairs: list[Pair]
    choices: list[Choice]
    table: pd.DataFrame
    exposure: pd.DataFrame
    costs: pd.DataFrame
    trials: dict[str, pd.DataFrame]

    def __repr__(self) -> str:
        return f"Materials({len(self.pairs)} comparisons, {len(self.choices)} choices priced)"

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The output tables by name, those with rows."""
        told = {"materials": self.table, "material_exposure": self.exposure}
        told |= {"material_costs": self.costs, **self.trials}
        return {name: table for name, table in told.items() if len(table)}


def compare_materials(
    records: Records, duty: Duty, lives: Lives, fits: Fits, advice: Advice | None
) -> Materials:
    """Compare the materials of every part in every service, by life and by cost.

    A material is advised only where the plant's compatibility table confirms it; without that the
    comparison stands and its note says why there is no advice.

    Parameters
    ----------
    records : Records
        Its audit gets material codes that aren't known, and lives without a material.
    duty : Duty
        Where pumps stood, and what they moved.
    lives : Lives
        Of all parts [usage].
    fits : Fits
        Of these lives; their draws carry the doubt into cost.
    advice : Advice or None
        Groups with costs; without it lives alone are compared.

    Returns
    -------
    Materials
        Without rows where no part has a material.
    """
    every = gather_every(fits, lives, duty)
    facts = keep_written(every)
    say_blank(every, records.log)
    trials = follow_trials(records, duty, facts, fits)
    say_unknown_codes(records, sorted(set(facts["material"])))
    if facts.empty:
        blank = {"table": MATERIAL_COLUMNS, "exposure": EXPOSURE_COLUMNS, "costs": COST_COLUMNS}
        frames = {name: pd.DataFrame(columns=columns) for name, columns in blank.items()}
        return Materials(facts=facts, pairs=[], choices=[], trials=trials, **frames)
    pairs = compare_pairs(facts)
    groups = () if advice is None else advice.groups
    modes = find_modes(facts, lives.visits)
    parts = wearing_parts(records)
    released = compare_releases(facts, modes, set(parts.loc[parts["releases"], "part"]))
    choices = price_choices(records, fits, groups, facts, pairs, released=released)
    sheet = _Sheet(records=records, fits=fits, facts=facts, choices=choices, released=released)
    return Materials(
        facts=facts,
        pairs=pairs,
        choices=choices,
        table=_make_table(sheet, pairs, modes),
        exposure=expose(facts),
        costs=price_table(choices, pairs, sheet.rate()),
        trials=trials | propose_trials(records, groups, facts, choices, pairs),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sheet:
    """What the rows of the tables are made from."""

    records: Records
    fits: Fits
    facts: pd.DataFrame
    choices: list[Choice]
    released: dict[tuple[str, ...], float]

    def __repr__(self) -> str:
        return f"_Sheet({len(self.facts)} lives)"

    def rate(self) -> tuple[float, str]:
        """Usage that costs are given per, and its words."""
        factor, unit = RATE_UNITS[self.records.plant.usage_unit]
        return factor, f"{self.records.plant.currency} {unit}".strip()


def _make_table(sheet: _Sheet, pairs: Sequence[Pair], modes: pd.DataFrame) -> pd.DataFrame:
    """One row per material of each part and service, then those over all services."""
    by_place = {(p.side, p.part, p.service, p.kind): p for p in pairs if p.service}
    rows: list[dict[str, Any]] = []
    keys = ["side", "part", "service"]
    for (side, part, service), lives in sheet.facts.groupby(keys, sort=True):
        key = (str(side), str(part), str(service))
        reference = find_reference(lives)
        for kind in [reference, *sorted(set(lives["kind"]) - {reference})]:
            pair = by_place.get((*key, kind))
            row = _about(lives, kind, reference)
            mode = modes.xs((key[2], key[0], key[1], kind))
            row |= {str(name): value for name, value in mode.items()}
            confirmed = is_confirmed(sheet.records, row["material"], key[2], key[1])
            row["compatibility_confirmed"] = confirmed
            row |= _pair_row(sheet, pair, confirmed) if pair else _own_row(sheet, lives, kind)
            rows.append(row)
    for pair in pairs:
        if not pair.service:
            mine = (sheet.facts["side"] == pair.side) & (sheet.facts["part"] == pair.part)
            rows.append(_across_row(sheet, sheet.facts[mine], pair))
    table = pd.DataFrame(rows).reindex(columns=MATERIAL_COLUMNS)
    words = ["rate_unit", "comparable", "main_mode", "compatibility_confirmed"]
    return table.fillna(dict.fromkeys(words, ""))


def _about(lives: pd.DataFrame, kind: str, reference: str) -> dict[str, Any]:
    """What a row says of the material itself."""
    mine = lives[lives["kind"] == kind]
    first, sizes = mine.iloc[0], lives["size"].unique()
    return {
        "service": first["service"],
        "size_mm": sizes[0] if len(sizes) == 1 and sizes[0] >= 0.0 else np.nan,
        "side": first["side"],
        "part": first["part"],
        "material": first["material"],
        "variant": first["variant"],
        "reference": reference,
        "failures": mine["failures"].sum(),
        "usage": mine["usage"].sum(),
        "pumps": mine["pump"].nunique(),
    }


def _ratio_row(pair: Pair) -> dict[str, Any]:
    ratio = pair.ratio
    with np.errstate(over="ignore"):
        ends = {
            "life_ratio": ratio.estimate,
            "ratio_low": ratio.low,
            "ratio_high": ratio.high,
            "likelihood_low": ratio.likelihood_low,
            "likelihood_high": ratio.likelihood_high,
        }
        told = {name: float(np.exp(value)) for name, value in ends.items()}
    told = {name: value if 0.0 < value < np.inf else np.nan for name, value in told.items()}
    explained, doubted = explain_away(told["life_ratio"], told["ratio_low"], told["ratio_high"])
    return {
        **told,
        "prob_longer": ratio.prob_longer,
        "logrank_p": pair.logrank.clustered_p_value,
        "shape_p": pair.shape_p,
        "comparable": pair.verdict.comparable,
        "explained_by": explained,
        "doubted_by": doubted,
    }


def _pair_row(sheet: _Sheet, pair: Pair, confirmed: str) -> dict[str, Any]:
    """Ratio, cost and words of a material beside the reference."""
    row = _ratio_row(pair) | _posterior_row(sheet.fits, pair) | _cost_row(sheet, pair)
    reference = sheet.facts[
        (sheet.facts["service"] == pair.service)
        & (sheet.facts["side"] == pair.side)
        & (sheet.facts["part"] == pair.part)
        & (sheet.facts["kind"] == pair.reference)
    ]
    row["reference_failures"] = reference["failures"].sum()
    note = note_pair(pair, float(row.get("prob_cheaper", np.nan)), confirmed)
    often = sheet.released.get((pair.service, pair.side, pair.part, pair.kind), 1.0)
    if abs(np.log(often)) > SAID_FROM:
        note += f"; its failures let fluid out {often:.2f} times as often: priced so"
    lacking = "; not priced: a life or a price of it is missing"
    priced = "cost_per_1000" in row or not sheet.choices
    return row | {"note": note if priced else note + lacking}


def _posterior_row(fits: Fits, pair: Pair) -> dict[str, float]:
    """Posterior bounds of the ratio of mean lives, as far as the study's fits go."""
    table = fits.table
    plain = (table["service"] == pair.service) & (table["part"] == pair.part)
    plain &= (table["endpoint"] == "failed") & (table["mode"] == "") & (table["period"] == "")
    plain &= table["size_mm"].isna()
    label = (table["material"] + " " + table["variant"]).str.strip()
    rows = [np.flatnonzero(plain & (label == kind)) for kind in (pair.kind, pair.reference)]
    if not all(len(one) == 1 for one in rows):
        return {}
    means = [fits.draws[int(one[0])].mean() for one in rows]
    tail = 0.5 * (1.0 - pair.ratio.confidence)
    low, high = np.quantile(means[0] / means[1], [tail, 1.0 - tail])
    return {"posterior_low": float(low), "posterior_high": float(high)}


def _swaps(sheet: _Sheet, pair: Pair) -> Iterator[tuple[Choice, Choice, int]]:
    """Each place's choice with the part in the material, and the one of reference materials."""
    bases: dict[int, Choice] = {}
    for choice in sheet.choices:
        base = bases.setdefault(id(choice.place), choice)
        group = choice.place.group
        if (group.service, group.side) != (pair.service, pair.side) or pair.part not in group.part:
            continue
        at = group.part.index(pair.part)
        swapped = (*base.kinds[:at], pair.kind, *base.kinds[at + 1 :])
        if choice.kinds == swapped and base.kinds[at] == pair.reference:
            yield choice, base, at


def _cost_row(sheet: _Sheet, pair: Pair) -> dict[str, Any]:
    """Cost of the material and of the reference over the same places."""
    swaps = list(_swaps(sheet, pair))
    if not swaps:
        return {}
    factor, unit = sheet.rate()
    usage = np.array([choice.place.usage for choice, _, _ in swaps])
    mine = usage @ np.array([choice.cost for choice, _, _ in swaps])
    theirs = usage @ np.array([base.cost for _, base, _ in swaps])
    row = {
        "cost_per_1000": factor * float(mine.mean()) / usage.sum(),
        "reference_cost_per_1000": factor * float(theirs.mean()) / usage.sum(),
        "rate_unit": unit,
        "price_now": float(usage @ [s[0].unit_price[s[2]] for s in swaps]) / usage.sum(),
    }
    if pair.verdict.comparable != YES:
        return row
    spared = [
        base.place.usage_with(pair.part, pair.reference)
        * float(base.cost.mean() - choice.cost.mean())
        for choice, base, _ in swaps
    ]
    even = [choice.breaks_even(at, float(base.cost.mean())) for choice, base, at in swaps]
    return row | {
        "prob_cheaper": float(np.mean(mine < theirs)),
        "saving_per_year": sum(spared),
        "price_break_even": float(usage @ even) / usage.sum(),
    }


def _own_row(sheet: _Sheet, lives: pd.DataFrame, kind: str) -> dict[str, Any]:
    """The row of the reference itself, or of a material that stands alone in its service."""
    first = lives.iloc[0]
    if len(set(lives["kind"])) > 1:
        others = "the most used: the others are compared with it"
        return {"note": others, **_base_cost(sheet, first, kind)}
    same = (sheet.facts["side"] == first["side"]) & (sheet.facts["part"] == first["part"])
    elsewhere = sorted(set(sheet.facts.loc[same, "kind"]) - {kind})
    note = note_alone(kind, first["part"], first["service"], elsewhere)
    return {"reference": "", "comparable": CONFOUNDED, "note": note}


def _base_cost(sheet: _Sheet, first: pd.Series[Any], kind: str) -> dict[str, Any]:
    """Cost of a kit of reference materials over the service's places."""
    bases = {id(choice.place): choice for choice in reversed(sheet.choices)}.values()
    mine = [
        (choice, choice.place.group.part.index(first["part"]))
        for choice in bases
        if (choice.place.group.service, choice.place.group.side)
        == (first["service"], first["side"])
        and first["part"] in choice.place.group.part
    ]
    held = [(choice, at) for choice, at in mine if choice.kinds[at] == kind]
    if not held:
        return {}
    factor, unit = sheet.rate()
    usage = np.array([choice.place.usage for choice, _ in held])
    cost = usage @ [float(choice.cost.mean()) for choice, _ in held]
    price = usage @ [choice.unit_price[at] for choice, at in held]
    return {
        "cost_per_1000": factor * float(cost) / usage.sum(),
        "rate_unit": unit,
        "price_now": float(price) / usage.sum(),
    }


def _across_row(sheet: _Sheet, lives: pd.DataFrame, pair: Pair) -> dict[str, Any]:
    """The row of two materials over all services that held both."""
    mine = lives[lives["kind"].isin([pair.kind, pair.reference])]
    kinds = mine.groupby("service")["kind"].nunique()
    held = mine[mine["service"].isin(kinds.index[kinds == 2])]
    services = ", ".join(sorted(held["service"].unique()))
    row = _about(held, pair.kind, pair.reference) | _ratio_row(pair)
    note = f"{services} together, each compared within itself; {note_pair(pair, np.nan, '')}"
    other = held.loc[held["kind"] == pair.reference, "failures"].sum()
    return row | {"service": "", "size_mm": np.nan, "reference_failures": other, "note": note}
