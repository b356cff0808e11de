"""The numbers that plant.toml may give, and what they can be."""

import math
from collections.abc import Iterator
from typing import Any

from pumplife.errors import SettingError
from pumplife.records.sections import check_sections

COSTS = (
    "labour_per_h",
    "downtime_per_h",
    "spill",
    "call_out",
    "order",
    "expedite",
    "waiting_per_day",
    "holding_per_year",
    "discount_per_year",
    "opening_fault_probability",
    "foul_air_side_probability",
)
SERVICE_COSTS = ("downtime_per_h", "spill", "foul_air_side_probability")
WORK = (
    "planned_labour_h",
    "breakdown_labour_h",
    "planned_downtime_h",
    "breakdown_downtime_h",
)
TARGETS = {"service_level": 0.95, "hazardous_failure_probability": 0.05, "review_days": 30.0}
EVIDENCE = {
    "weak": 5.0,
    "usable": 10.0,
    "good": 20.0,
    "likelihood": 30.0,
    "narrow_band": 2.0,
    "worn_life_spent": 0.5,
    "advise": 3.0,
    "advise_lent": 20.0,
}
"""Failures from which a fit is weak, usable, good and left to maximum likelihood; the band of the
B10 life (upper over lower bound) up to which it is enough to decide; the share of its life that a
part pulled because it looked worn has behind it at least (0: nothing is known of that); failures
on a pump side from which an interval is advised, and failures of its parts in all services from
which it is advised with fewer of its own."""
TRIALS = {
    "power": 0.80,
    "false_alarm": 0.05,
    "pump_spread": 0.15,
    "ratio_spread": 0.35,
    "years": 5.0,
    "longest_years": 3.0,
    "setup": 0.0,
    "setup_per_pump": 0.0,
}
"""Trials of materials: the chance that a longer life is shown if it is so, and that an equal
material is called longer-lived; how much like pumps differ, and how much a ratio of lives may
before anything is known of it (standard deviations of logs); years that a choice is used for, and
that a trial may take; its own cost besides parts and failures."""
INSPECTION = ("delay_share", "detection", "labour_h")
PRIOR = ("shape", "spread")
RISES = ("kits", "labour")
"""Rises of prices, as a share a year."""
SHARES = (
    "holding_per_year",
    "discount_per_year",
    "opening_fault_probability",
    "foul_air_side_probability",
    "service_level",
    "hazardous_failure_probability",
    "worn_life_spent",
    "delay_share",
    "detection",
    "power",
    "false_alarm",
)
"""Numbers from 0 to 1."""


def check_amounts(raw: dict[str, Any]) -> None:
    """Check every cost, working time, target, rule on evidence, prior and rise of prices.

    Parameters
    ----------
    raw : dict
        The settings as read.

    Raises
    ------
    SettingError
        When one is no number, below zero, or a share above 1; a prior that is 0; rules on
        evidence that fall where they should rise; no section where there must be one.
    """
    check_sections(raw)
    for section, name, value in _amounts(raw):
        if isinstance(value, bool) or not isinstance(value, int | float):
            _refuse(section, name, value, _wanted(name))
        if not math.isfinite(value) or value < 0:
            _refuse(section, name, value, _wanted(name))
        if name in SHARES and value > 1:
            like = f"; write {value:g} % as {value / 100:g}" if value <= 100 else ""
            _refuse(section, name, value, f"{_wanted(name)}{like}")
        if name in PRIOR and value == 0:
            _refuse(section, name, value, "a number above 0")
        if name == "hazardous_failure_probability" and value in (0, 1):
            _refuse(section, name, value, "a share above 0 and below 1: no interval keeps to none")
    _check_rising({**EVIDENCE, **raw.get("evidence", {})})
    _check_trials({**TRIALS, **raw.get("trials", {})})


def _check_rising(evidence: dict[str, Any]) -> None:
    steps = ("weak", "usable", "good")
    if not 1 <= evidence["weak"] <= evidence["usable"] <= evidence["good"]:
        values = ", ".join(f"{name} = {evidence[name]:g}" for name in steps)
        raise SettingError(
            f"plant.toml: [evidence] {values} must rise from 1 failure on; what isn't given is "
            "usual."
        )
    if evidence["narrow_band"] <= 1:
        _refuse("evidence", "narrow_band", evidence["narrow_band"], "a ratio above 1")


def _check_trials(trials: dict[str, Any]) -> None:
    if not 0.0 < trials["false_alarm"] < 0.5:
        _refuse("trials", "false_alarm", trials["false_alarm"], "a share above 0 and below 0.5")
    if not trials["false_alarm"] < trials["power"] < 1.0:
        _refuse("trials", "power", trials["power"], "a share between false_alarm and 1")
    for name in ("pump_spread", "ratio_spread", "years", "longest_years"):
        if trials[name] == 0:
            _refuse("trials", name, trials[name], "a number above 0")


def _wanted(name: str) -> str:
    if name in SHARES:
        return "a share, a number from 0 to 1"
    return "a number, 0 or more, without its unit"


def _refuse(section: str, name: str, value: Any, wanted: str) -> None:
    raise SettingError(f"plant.toml: [{section}] {name} = {value!r} must be {wanted}.")


def _amounts(raw: dict[str, Any]) -> Iterator[tuple[str, str, Any]]:
    costs, work = raw.get("costs", {}), raw.get("work", {})
    owners = [(name, raw.get(name, {})) for name in ("costs", "targets", "evidence", "trials")]
    owners += [(f"prior.{part}", own) for part, own in raw.get("prior", {}).items()]
    services = costs.get("service", {})
    owners += [(f'costs.service."{name}"', own) for name, own in services.items()]
    owners += [(f"work.{side}", own) for side, own in work.items()]
    owners.append(("budget.price_rise", raw.get("budget", {}).get("price_rise", {})))
    owners += _inspection_owners(raw.get("inspection", {}))
    for section, own in owners:
        for name in (*COSTS, *WORK, *TARGETS, *EVIDENCE, *TRIALS, *INSPECTION, *PRIOR, *RISES):
            if name in own:
                yield section, name, own[name]


def _inspection_owners(inspection: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """The delay may be one for all parts, or a section with one for each."""
    share = inspection.get("delay_share")
    if not isinstance(share, dict):
        return [("inspection", inspection)]
    rest = {name: value for name, value in inspection.items() if name != "delay_share"}
    parts = [
        (f"inspection.delay_share.{part}", {"delay_share": own}) for part, own in share.items()
    ]
    return [("inspection", rest), *parts]


def inspection_of(raw: dict[str, Any], part: str) -> dict[str, float]:
    """Give what a look at running pumps finds and takes, by [inspection].

    Parameters
    ----------
    raw : dict
        The settings as read.
    part : str

    Returns
    -------
    dict
        delay_share, the last share of the part's life in which it shows wear [-]; detection, the
        chance that a look finds that [-]; labour_h, the hours of a look [h]; NaN where not given.
        Where delay_share is given part by part, a part without it shows nothing before it fails.
    """
    given = dict(raw.get("inspection", {}))
    share = given.get("delay_share", math.nan)
    given["delay_share"] = share.get(part, 0.0) if isinstance(share, dict) else share
    return {name: float(given.get(name, math.nan)) for name in INSPECTION}
