"""The plant's settings on several stores and spare pumps: transfers, and work done on the bench."""

import math
from dataclasses import dataclass, field
from typing import Any

from pumplife.errors import SettingError

STORES = ("transfer_days", "transfer_cost", "between")
ROTABLES = ("bench", "turnaround_days", "replace_years", "service")
_SWAPS = ("bench", "turnaround_days")
_TRANSFERS = STORES[:2]
REPLACE_YEARS = 5.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transfers:
    """What moving a piece from one store to another takes.

    Attributes
    ----------
    days, cost : float
        Days on the way [days], cost of one transfer [money]; NaN where not given.
    between : dict
        The same for pairs of stores, in either order.
    """

    days: float
    cost: float
    between: dict[frozenset[str], tuple[float, float]] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Transfers({self.days:g} days, {self.cost:g} each)"

    def from_to(self, one: str, other: str) -> tuple[float, float]:
        """Days and cost from one store to another; nothing within a store."""
        if one == other:
            return 0.0, 0.0
        return self.between.get(frozenset((one, other)), (self.days, self.cost))

    @property
    def lacking(self) -> str:
        """The settings that aren't given, as plant.toml writes them."""
        given = {"transfer_days": self.days, "transfer_cost": self.cost}
        return " and ".join(name for name, value in given.items() if math.isnan(value))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swaps:
    """Whether pumps of a service are rebuilt on the bench while a spare runs.

    Attributes
    ----------
    bench : bool or None
        None where the plant doesn't say.
    turnaround_days : float
        From taking a pump out to having it back in store [days]; NaN where not given.
    """

    bench: bool | None
    turnaround_days: float

    def __repr__(self) -> str:
        return f"Swaps({self.bench}, {self.turnaround_days:g} days)"


def check_stores(raw: dict[str, Any]) -> None:
    """Check the settings under [stores] and [rotables].

    Raises
    ------
    SettingError
        When a number of days or a cost is no number of 0 or more, bench neither true nor false,
        or a section within them holds what isn't known there.
    """
    stores, rotables = _section(raw, "stores"), _section(raw, "rotables")
    _check_numbers("stores", stores, _TRANSFERS)
    for one, others in _section(stores, "between", "stores.").items():
        for other in others if isinstance(others, dict) else ():
            title = f'stores.between."{one}"."{other}"'
            _check_known(title, others[other], _TRANSFERS)
            _check_numbers(title, others[other], _TRANSFERS)
        if not isinstance(others, dict):
            raise SettingError(f'plant.toml: [stores.between."{one}"] must be a section.')
    _check_swaps("rotables", rotables)
    _check_numbers("rotables", rotables, ("replace_years",))
    for name, own in _section(rotables, "service", "rotables.").items():
        _check_known(f'rotables.service."{name}"', own, _SWAPS)
        _check_swaps(f'rotables.service."{name}"', own)


def transfers_of(raw: dict[str, Any]) -> Transfers:
    """What moving a piece between stores takes."""
    given = raw.get("stores", {})
    pairs = {
        frozenset((one, other)): (_number({**given, **own}, 0), _number({**given, **own}, 1))
        for one, others in given.get("between", {}).items()
        for other, own in others.items()
    }
    return Transfers(days=_number(given, 0), cost=_number(given, 1), between=pairs)


def swaps_of(raw: dict[str, Any], service: str) -> Swaps:
    """How pumps of a service are rebuilt; the plant's own word where the service has none."""
    given = raw.get("rotables", {})
    own = {**given, **given.get("service", {}).get(service, {})}
    return Swaps(
        bench=own.get("bench"), turnaround_days=float(own.get("turnaround_days", math.nan))
    )


def replace_years(raw: dict[str, Any]) -> float:
    """Years over which rebuilds are weighed against a new pump [years]."""
    return float(raw.get("rotables", {}).get("replace_years", REPLACE_YEARS))


def _number(given: dict[str, Any], place: int) -> float:
    return float(given.get(_TRANSFERS[place], math.nan))


def _section(owner: dict[str, Any], name: str, before: str = "") -> dict[str, Any]:
    given = owner.get(name, {})
    if not isinstance(given, dict):
        raise SettingError(
            f"plant.toml: {before}{name} must be a section, written [{before}{name}]."
        )
    return given


def _check_known(title: str, own: Any, known: tuple[str, ...]) -> None:
    strange = sorted(set(own) - set(known)) if isinstance(own, dict) else ["a value"]
    if strange:
        raise SettingError(
            f"plant.toml: [{title}] knows {' and '.join(known)}, not {strange[0]}: correct it."
        )


def _check_numbers(title: str, own: dict[str, Any], names: tuple[str, ...]) -> None:
    for name in names:
        value = own.get(name, 0.0)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not 0 <= value < math.inf:
            raise SettingError(
                f"plant.toml: [{title}] {name} = {value!r} must be a number, 0 or more."
            )


def _check_swaps(title: str, own: dict[str, Any]) -> None:
    _check_numbers(title, own, ("turnaround_days",))
    if not isinstance(own.get("bench", False), bool):
        raise SettingError(f"plant.toml: [{title}] bench = {own['bench']!r} must be true or false.")
