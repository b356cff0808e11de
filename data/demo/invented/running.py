"""Let the invented pumps run: parts fail by the truth, people renew by the plant's habits.

All pumps move together from opening to opening; the only loop is over rounds of openings.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from .fleet import FROM, SITES, Bools, Fleet, Ints
from .truth import COSTS, IS_AIR, PART, SERVICE_COSTS, SERVICES, Floats, Truth

BREAKDOWN, PLANNED, INSPECTION, MODIFICATION = range(4)
SUSPENDED, FAILED, FOUND_FAILED, WORN, RUNNING = range(5)
CHECKED = np.isin(PART, ["ball", "seat"])
DIAPHRAGM = PART == "diaphragm"
SEAT = PART == "seat"
BAD_MONTHS = tuple(float(np.datetime64(d).astype(int)) for d in ("2022-03-01", "2022-06-01"))
WHOLE_KIT_SHARE = 0.9  # of breakdowns; the others renew the failed part only
AIR_TOO_SHARE = 0.15  # of planned fluid rebuilds
SEATS_KEPT_SHARE = 0.06  # of planned fluid rebuilds


@dataclass(frozen=True, kw_only=True, eq=False)
class History:
    """All that happened since the first pump was commissioned.

    Attributes
    ----------
    lives : DataFrame
        One row per part that was ever fitted: pump, place (0 to 13), material, start_day, end_day
        [day], start_usage, end_usage, death_usage [h], hidden, early, outcome, start_ticket,
        end_ticket (-1 = commissioning, still running).
    tickets : DataFrame
        One row per opening: ticket, pump, day, kind, place (of the failure, -1 = none), fluid, air
        (whole kits fitted), seats_kept, material.
    """

    lives: pd.DataFrame
    tickets: pd.DataFrame


@dataclass(kw_only=True, eq=False)
class _State:
    """What is fitted now, (pumps, places), and what is due, (pumps,)."""

    fleet: Fleet
    truth: Truth
    rng: np.random.Generator
    shape: Floats
    scale: Floats
    frailty: Floats
    material: Ints
    start_day: Floats
    start_usage: Floats
    death_usage: Floats
    hidden: Bools
    early: Bools
    start_ticket: Ints
    plan_day: Floats
    look_day: Floats
    change_day: Floats
    tickets_so_far: int = 0
    lives: list[dict[str, np.ndarray]] = field(default_factory=list)
    tickets: list[dict[str, np.ndarray]] = field(default_factory=list)


def run_fleet(fleet: Fleet, truth: Truth, rng: np.random.Generator) -> History:
    """Run every pump from its commissioning to its last day."""
    state = _new_fleet(fleet, truth, rng)
    busy = np.arange(len(fleet))
    while len(busy := _open_next(state, busy)):
        pass
    everywhere = np.ones(state.hidden.shape, dtype=bool)
    pump = np.arange(len(fleet))
    _end_lives(state, pump, everywhere, day=fleet.last_day, outcome=RUNNING, ticket=-1)
    return History(lives=_stack(state.lives), tickets=_stack(state.tickets))


def _stack(pieces: list[dict[str, np.ndarray]]) -> pd.DataFrame:
    return pd.DataFrame({k: np.concatenate([p[k] for p in pieces]) for k in pieces[0]})


def _new_fleet(fleet: Fleet, truth: Truth, rng: np.random.Generator) -> _State:
    size = (len(fleet), len(PART))
    shape, scale = truth.grids()
    blank = np.zeros(size)
    state = _State(
        fleet=fleet,
        truth=truth,
        rng=rng,
        shape=shape,
        scale=scale,
        frailty=rng.lognormal(0, 1, len(fleet)) ** truth.frailty_sd,
        material=fleet.material.copy(),
        start_day=blank.copy(),
        start_usage=blank.copy(),
        death_usage=blank.copy(),
        hidden=blank.astype(bool),
        early=blank.astype(bool),
        start_ticket=np.full(size, -1),
        plan_day=fleet.commissioned + fleet.planned * rng.uniform(0.9, 1.1, len(fleet)),
        look_day=fleet.commissioned + fleet.inspected * rng.uniform(0.9, 1.1, len(fleet)),
        change_day=fleet.modified_on.copy(),
    )
    everywhere = np.ones(size, dtype=bool)
    ticket = np.full(len(fleet), -1)
    _fit_new(state, np.arange(len(fleet)), everywhere, fleet.commissioned, ticket)
    return state


def _fit_new(state: _State, pump: Ints, renewed: Bools, day: Floats, ticket: Ints) -> None:
    """Fit new parts at `renewed` (rows of `pump`, places) and draw how long they will live."""
    row, place = np.nonzero(renewed)
    at, when = pump[row], day[row]
    where = (state.fleet.service[at], state.material[at], place)
    spent = state.rng.exponential(size=len(row)) ** (1 / state.shape[where])
    wear = state.scale[where] * state.frailty[at] * spent
    early = state.rng.random(len(row)) < _early_share(state, at, place, when)
    life = np.where(early, state.truth.early_scale * state.rng.exponential(size=len(row)), wear)
    watched = np.isfinite(np.minimum(state.fleet.inspected, state.fleet.planned))
    unseen = state.rng.random(len(row)) < state.truth.hidden_share
    start = state.fleet.usage(at, when)
    state.start_day[at, place], state.start_usage[at, place] = when, start
    state.death_usage[at, place] = start + life
    state.hidden[at, place] = unseen & CHECKED[place] & watched[at] & (when >= FROM)
    state.early[at, place] = early
    state.start_ticket[at, place] = ticket[row]


def _early_share(state: _State, pump: Ints, place: Ints, day: Floats) -> Floats:
    site = (state.fleet.register.site == SITES[1]).to_numpy()[pump]
    bad = site & (day >= BAD_MONTHS[0]) & (day < BAD_MONTHS[1])
    share = np.where(bad, state.truth.batch_share, state.truth.early_share)
    tested = (state.fleet.register.hazard == "hazardous").to_numpy()[pump]
    return np.asarray(np.where(DIAPHRAGM[place] & ~tested, share, 0.0))


def _open_next(state: _State, busy: Ints) -> Ints:
    """Take every busy pump to its next opening; return the pumps that have had one."""
    death = state.fleet.day(busy[:, None], state.death_usage[busy])
    death = np.where(state.hidden[busy], np.inf, death)
    due = np.stack(
        [death.min(axis=1), state.plan_day[busy], state.look_day[busy], state.change_day[busy]]
    )
    kind, day = due.argmin(axis=0), due.min(axis=0)
    goes_on = day < state.fleet.last_day[busy]
    pump, kind, day = busy[goes_on], kind[goes_on], day[goes_on]
    place = np.where(kind == BREAKDOWN, death[goes_on].argmin(axis=1), -1)
    if len(pump):
        _open(state, pump, kind, day, place)
    return np.asarray(pump)


def _open(state: _State, pump: Ints, kind: Ints, day: Floats, place: Ints) -> None:
    """One opening of each pump: what is found, renewed, and written on the ticket."""
    ticket = state.tickets_so_far + np.arange(len(pump))
    state.tickets_so_far += len(pump)
    usage = state.fleet.usage(pump, day)
    fluid_open = ~IS_AIR & ((kind != BREAKDOWN) | (place < 10))[:, None]
    dead = state.hidden[pump] & (state.death_usage[pump] <= usage[:, None]) & fluid_open
    worn = _worn_on_condition(state, pump, kind, usage) & ~dead
    fluid, air, kept = _kits(state, pump, kind, place, dead)
    failed = np.arange(len(PART)) == place[:, None]
    renewed = (fluid[:, None] & ~IS_AIR & ~(kept[:, None] & SEAT)) | (air[:, None] & IS_AIR)
    renewed |= failed | dead | worn
    outcome = np.select([failed, dead, worn], [FAILED, FOUND_FAILED, WORN], SUSPENDED)
    _end_lives(state, pump, renewed, day=day, outcome=outcome, ticket=ticket)
    changed = kind == MODIFICATION
    state.material[pump[changed]] = state.fleet.later_material[pump[changed]]
    state.change_day[pump[changed]] = np.inf
    state.tickets.append(
        {
            "ticket": ticket,
            "pump": pump,
            "day": day,
            "kind": kind,
            "place": place,
            "fluid": fluid,
            "air": air,
            "seats_kept": kept,
            "material": state.material[pump],
        }
    )
    _fit_new(state, pump, renewed, day, ticket)
    _plan_ahead(state, pump, day, fluid, kind)


def _worn_on_condition(state: _State, pump: Ints, kind: Ints, usage: Floats) -> Bools:
    """Balls and seats of sludge pumps, late in life, that an inspection renews, (pumps, places)."""
    spent = usage[:, None] - state.start_usage[pump]
    near = spent > 0.65 * (state.death_usage[pump] - state.start_usage[pump])
    sludge = (kind == INSPECTION) & (state.fleet.service[pump] == SERVICES.index("press sludge"))
    chosen = state.rng.random(near.shape) < state.truth.on_condition
    return np.asarray(near & chosen & CHECKED & sludge[:, None])


def _kits(
    state: _State, pump: Ints, kind: Ints, place: Ints, dead: Bools
) -> tuple[Bools, Bools, Bools]:
    """Whether a fluid kit and an air kit are fitted, and whether the seats are kept."""
    luck = state.rng.random((3, len(pump)))
    whole = (luck[0] < WHOLE_KIT_SHARE) | dead.any(axis=1)
    broken = kind == BREAKDOWN
    fluid = np.where(broken, (place < 10) & whole, kind != INSPECTION)
    foul = (place >= 0) & (place < 2) & (luck[1] < _foul_probability()[state.fleet.service[pump]])
    air = np.where(broken, ((place >= 10) & whole) | foul, False)
    air |= (kind == PLANNED) & (luck[1] < AIR_TOO_SHARE)
    kept = (kind == PLANNED) & (luck[2] < SEATS_KEPT_SHARE) & ~(dead & SEAT).any(axis=1)
    return fluid, air, kept


def _foul_probability() -> Floats:
    usual = COSTS["foul_air_side_probability"]
    return np.array([SERVICE_COSTS[s].get("foul_air_side_probability", usual) for s in SERVICES])


def _end_lives(
    state: _State,
    pump: Ints,
    ended: Bools,
    *,
    day: Floats,
    outcome: Ints | int,
    ticket: Ints | int,
) -> None:
    """Close the lives at `ended` (rows of `pump`, places)."""
    row, place = np.nonzero(ended)
    at = pump[row]
    state.lives.append(
        {
            "pump": at,
            "place": place,
            "material": state.material[at],
            "start_day": state.start_day[at, place],
            "end_day": day[row],
            "start_usage": state.start_usage[at, place],
            "end_usage": state.fleet.usage(at, day[row]),
            "death_usage": state.death_usage[at, place],
            "hidden": state.hidden[at, place],
            "early": state.early[at, place],
            "outcome": np.broadcast_to(outcome, ended.shape)[row, place],
            "start_ticket": state.start_ticket[at, place],
            "end_ticket": np.broadcast_to(ticket, len(pump))[row],
        }
    )


def _plan_ahead(state: _State, pump: Ints, day: Floats, fluid: Bools, kind: Ints) -> None:
    """A new fluid kit starts the planned clock; any opening of the fluid side the inspections'."""
    late = state.rng.lognormal(0, 0.08, (2, len(pump)))
    plan = np.where(fluid, day + state.fleet.planned[pump] * late[0], state.plan_day[pump])
    look = day + state.fleet.inspected[pump] * late[1]
    look = np.where(fluid | (kind == INSPECTION), look, state.look_day[pump])
    stored, back = state.fleet.stored[pump], state.fleet.returned[pump] + 10
    state.plan_day[pump] = np.where((plan >= stored) & (plan < back), back, plan)
    state.look_day[pump] = np.where((look >= stored) & (look < back), back + 5, look)
