"""Parts renewed on condition and at every opening: shares, and what openings take, by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.policy.simulate import SideEvents
from pumplife.stock.amounts import EventAmounts
from pumplife.stock.assess import assess_demand
from pumplife.stock.future import planned_at
from pumplife.stock.level import reorder_point
from pumplife.stock.loose import LoosePart, draw_pieces, find_loose_parts, mean_pieces, with_loose
from pumplife.stock.on_condition import ObservedShare, observe_shares, share_table
from tests.plants import on_day, part_rows, small_tables
from tests.stock.fleets import lives as life_draws
from tests.stock.fleets import run_to_failure, side_group, simulate_demand
from tests.stock.test_plan import steps

PLATE = {"part_no": "PLATE", "part": "outer plate", "side": "fluid", "wears": "on_condition"}
PLATE |= {"size_mm": 50, "per_pump": 2, "unit_cost": 30.0, "lead_time_days": 20}
ORING = {"part_no": "ORING", "part": "o-ring set", "side": "fluid", "wears": "every_opening"}
ORING |= {"size_mm": 50, "per_pump": 1, "unit_cost": 5.0, "lead_time_days": 20}


def issue(order, item, quantity=1, day=300):
    row = {"issued_on": on_day(day), "item": item, "quantity": quantity, "rebuild_id": order}
    return row | {"store": "works"}


def share(renewed=(1, 3), openings=(10, 20), pieces=(1,), elsewhere=0.0):
    return ObservedShare(
        renewed=np.array(renewed, float),
        openings=np.array(openings, float),
        pieces=np.array(pieces),
        elsewhere=elsewhere,
    )


def loose(**changes):
    settings = {
        "part_no": "PLATE",
        "part": "outer plate",
        "pieces": np.array([2]),
        "held": 0,
        "share": None,
        "unit_cost": 30.0,
    }
    return LoosePart(**(settings | changes))


def events(*rows):
    """(position, kit) of events of one pump, a tenth of a year apart, all in future 0."""
    count = len(rows)
    return SideEvents(
        pump=np.zeros(count, np.int64),
        replicate=np.zeros(count, np.int64),
        time=0.1 * np.arange(1, count + 1),
        position=np.array([row[0] for row in rows], dtype=np.int64),
        kit=np.array([row[1] for row in rows], bool),
    )


# ---- shares --------------------------------------------------------------------------------------


def test_openings_count_where_their_issues_are_written(tmp_path):
    # kits R-1 and R-3 (breakdowns) and R-2 (planned) have their issue written, R-5 has none
    issued = [issue(order, "FK") for order in ("R-1", "R-2", "R-3")]
    issued += [issue("R-1", "PLATE", 2), issue("R-3", "PLATE", 1), issue("R-3", "PLATE", -1)]
    records, lives, _ = steps(tmp_path, parts=[*part_rows(), PLATE], issued=issued)
    found = observe_shares(records, lives)["PLATE"]
    assert found.openings.tolist() == [1, 2]
    assert found.renewed.tolist() == [0, 1]  # one taken for R-3 came back
    assert found.pieces.tolist() == [2]
    # fewer than five of either kind: both together, one of three, Jeffreys' prior
    assert found.mean == pytest.approx([1.5 / 4] * 2)
    table = share_table(records, {"PLATE": found})
    assert table["note"].str.startswith("few of this kind").all()


def test_a_finding_tells_of_an_opening_without_issues(tmp_path):
    kept = {"rebuild_id": "R-5", "pump_id": "P-3", "part": "outer plate", "found": "sound"}
    worn = {"rebuild_id": "R-1", "pump_id": "P-1", "part": "outer plate", "found": "worn"}
    findings = [*small_tables()["findings"], kept | {"action": "kept"}]
    findings.append(worn | {"action": "renewed"})
    records, lives, _ = steps(tmp_path, parts=[*part_rows(), PLATE], findings=findings)
    found = observe_shares(records, lives)["PLATE"]
    assert found.openings.tolist() == [0, 2]
    assert found.renewed.tolist() == [0, 1]
    assert found.pieces.tolist() == [2]  # no position written: all that the pump has


def test_other_work_that_took_one_is_told(tmp_path):
    issued = [issue("R-1", "FK"), issue("R-1", "PLATE"), issue("R-1", "FK")]
    stop = {"rebuild_id": "R-9", "pump_id": "P-1", "opened_on": on_day(650), "kit": "none"}
    tickets = [*small_tables()["rebuilds"], stop | {"reason": "stoppage", "failed_part": "none"}]
    issued.append(issue("R-9", "PLATE", 2, day=650))
    records, lives, _ = steps(
        tmp_path, parts=[*part_rows(), PLATE], issued=issued, rebuilds=tickets
    )
    found = observe_shares(records, lives)
    assert found["PLATE"].elsewhere == 2
    assert share_table(records, found)["note"].str.contains("2 more were issued").all()


def test_nothing_known_is_blank_and_told(tmp_path):
    records, lives, _ = steps(tmp_path, parts=[*part_rows(), PLATE])
    assert observe_shares(records, lives) == {}
    (row,) = share_table(records, {}).to_dict("records")
    assert np.isnan(row["share"])
    assert "no finding and no issue" in row["note"]
    audit = records.log.frame()
    told = audit[audit["rule"] == "share_unknown"].iloc[0]
    assert "PLATE" in told["what"]
    assert told["row"] == 5


def test_the_posterior_is_that_of_jeffreys_prior():
    # nothing seen: Beta(1/2, 1/2), whose quantile is sin² (π p / 2) in closed form
    rng = np.random.default_rng(1)
    bare = share((0, 0), (0, 0)).draw(40_000, rng)[0]
    expected = np.sin(np.pi * np.array([0.05, 0.5, 0.95]) / 2) ** 2
    np.testing.assert_allclose(np.quantile(bare, [0.05, 0.5, 0.95]), expected, atol=0.01)
    # one of one: Beta(3/2, 1/2), whose distribution function is (2/π)(asin √x − √(x (1 − x)))
    x = np.sort(share((1, 0), (1, 0)).draw(40_000, rng)[0])[::4_000]
    below = 2 / np.pi * (np.arcsin(np.sqrt(x)) - np.sqrt(x * (1 - x)))
    np.testing.assert_allclose(below, np.arange(10) / 10, atol=0.01)


# ---- which parts a group's openings take ---------------------------------------------------------


def test_the_kit_says_which_of_several_is_meant(tmp_path):
    other = ORING | {"part_no": "ORING-2"}
    contents = [*small_tables()["kit_contents"], {"kit": "FK", "part_no": "ORING", "quantity": 1}]
    parts = [*part_rows(), ORING, other]
    records, _, advice = steps(tmp_path / "a", parts=parts, kit_contents=contents)
    ((part,),) = find_loose_parts(records, {}, advice.groups)
    assert (part.part_no, part.held, part.why) == ("ORING", 1, "")
    records, _, advice = steps(tmp_path / "b", parts=parts)
    (found,) = find_loose_parts(records, {}, advice.groups)
    assert [bool(part.why) for part in found] == [True, True]
    assert (records.log.frame()["rule"] == "loose_part_unclear").sum() == 2
    # of two that differ in material the one of the kit's own
    parts = [*part_rows(), ORING | {"material": "CR"}, other | {"material": "FKM"}]
    records, _, advice = steps(tmp_path / "c", parts=parts)
    ((part,),) = find_loose_parts(records, {}, advice.groups)
    assert (part.part_no, part.why) == ("ORING", "")


def test_a_number_and_its_successor_are_one_part(tmp_path):
    """Neither two choices nor, where the kit holds the old number, a piece to take beside it."""
    parts = [*part_rows(), ORING | {"part_no": "OLD", "superseded_by": "ORING"}, ORING]
    parts += [PLATE | {"part_no": "WORN", "superseded_by": "PLATE"}, PLATE]
    contents = [*small_tables()["kit_contents"], {"kit": "FK", "part_no": "OLD", "quantity": 1}]
    issued = [issue("R-1", "FK"), issue("R-2", "FK"), issue("R-1", "WORN"), issue("R-2", "PLATE")]
    records, lives, advice = steps(tmp_path, parts=parts, kit_contents=contents, issued=issued)
    shares = observe_shares(records, lives)
    assert list(shares) == ["PLATE"]
    assert shares["PLATE"].renewed.sum() == 2  # one under either number
    (found,) = find_loose_parts(records, shares, advice.groups)
    told = {part.part_no: (part.held, part.why) for part in found}
    assert told == {"ORING": (1, ""), "PLATE": (0, "")}
    assert not records.log.has_rule("loose_part_unclear")


def test_what_openings_take_by_hand():
    part = loose(pieces=np.array([2]), held=1)
    rng = np.random.default_rng(1)
    taken = draw_pieces(part, events((-1, True), (0, True), (0, False)), **chance(rng))
    assert taken.tolist() == [1, 1, 2]
    need, from_kit, alone = mean_pieces(part)
    assert need.tolist() == [[2, 2], [2, 2]]
    assert from_kit.tolist() == [[1, 0], [1, 0]]
    assert alone.tolist() == [[1, 2], [1, 2]]


def chance(rng, replicates=1):
    return {"replicates": replicates, "seed": 3, "rng": rng}


@given(
    held=st.integers(0, 5),
    pieces=st.lists(st.integers(1, 5), min_size=1, max_size=4),
    renewed=st.integers(0, 30),
)
def test_what_is_needed_comes_from_the_kit_or_is_loose(held, pieces, renewed):
    part = loose(
        pieces=np.array(pieces), held=held, share=share((renewed, renewed), (30, 30), pieces)
    )
    need, from_kit, alone = mean_pieces(part)
    np.testing.assert_allclose(need, from_kit + alone)
    assert (alone >= -1e-12).all()
    assert (from_kit <= held + 1e-12).all()


def test_doubt_in_a_share_moves_all_its_groups_together():
    part = loose(pieces=np.array([1]), share=share((2, 2), (8, 8)))
    one = events(*[(0, True)] * 400)
    many = SideEvents(
        pump=np.zeros(200 * 400, np.int64),
        replicate=np.repeat(np.arange(200), 400),
        time=np.tile(one.time, 200),
        position=np.zeros(200 * 400, np.int64),
        kit=np.ones(200 * 400, bool),
    )
    shares = [
        draw_pieces(part, many, **chance(np.random.default_rng(n), 200)).reshape(200, 400).mean(1)
        for n in (1, 2)
    ]
    assert np.corrcoef(*shares)[0, 1] > 0.9
    # Beta(2.5, 6.5) on two of eight: mean and standard deviation by formula
    assert shares[0].mean() == pytest.approx(2.5 / 9, abs=0.03)
    assert shares[0].std() == pytest.approx(np.sqrt(2.5 * 6.5 / 81 / 10), rel=0.2)


# ---- demand and budget ---------------------------------------------------------------------------


def test_loose_demand_of_a_memoryless_fleet_is_thinned_poisson():
    # 10 failures a year, each with the kit; the kit holds no plate; a share known within 1 %
    group = side_group(20, life_draws([1.0], [2000.0]))
    part = loose(pieces=np.array([1]), share=share((25_000, 25_000), (100_000, 100_000)))
    every = loose(part_no="ORING", pieces=np.array([1]), held=1)
    (plate,) = simulate_demand(
        [group],
        [run_to_failure()],
        {"PLATE": (60.0, 60.0), "ORING": (60.0, 60.0)},
        review_days=30.0,
        replicates=4000,
        seed=3,
        loose=[[part, every]],
    )[1:]
    assert plate.item == "PLATE"
    assert plate.year.mean() == pytest.approx(2.5, abs=4 * np.sqrt(2.5 / 4000))
    assert plate.year.var() == pytest.approx(2.5, rel=0.1)


def test_only_what_every_opening_takes_is_planned():
    durable = life_draws([5.0], [1e9])
    group = side_group(7, durable)
    sure = loose(part_no="ORING", pieces=np.array([2]))
    maybe = loose(pieces=np.array([1]), share=share((50_000, 50_000), (100_000, 100_000)))
    ring, plate = simulate_demand(
        [group],
        [planned_at(499.0)],
        {"PLATE": (60.0, 60.0), "ORING": (60.0, 60.0)},
        review_days=30.0,
        replicates=1000,
        seed=3,
        loose=[[sure, maybe]],
    )
    # two jobs a year on each of seven pumps
    assert (ring.planned_per_year, ring.year.max()) == (28.0, 0)
    assert plate.planned_per_year == 0.0
    assert plate.year.mean() == pytest.approx(7.0, abs=0.3)


MONEY = ("kit_money", "part_money", "labour_money", "downtime_money", "other_money")


def test_the_budget_counts_loose_parts():
    amounts = EventAmounts(
        takes=np.zeros((5, 6)),
        **{name: np.zeros(5) for name in MONEY},
    )
    part = loose(pieces=np.array([2]), held=1)
    unknown = loose(part_no="X", why="not known")
    got = with_loose(amounts, [part, unknown], 1)
    # planned, two failures with the kit, the same with the part alone
    assert got.takes[:, 1].tolist() == [1, 1, 1, 2, 2]
    assert got.takes[:, [0, 2, 3, 4, 5]].sum() == 0
    assert got.loose_money.tolist() == [30, 30, 30, 60, 60]


def test_a_part_without_a_price_counts_in_pieces_alone():
    amounts = EventAmounts(
        takes=np.zeros((3, 6)),
        **{name: np.zeros(3) for name in MONEY},
    )
    got = with_loose(amounts, [loose(unit_cost=np.nan)], 1)
    assert got.takes[:, 1].tolist() == [2, 2, 2]
    assert got.loose_money.tolist() == [0, 0, 0]


def test_pieces_of_findings_are_no_more_than_a_pump_has(tmp_path):
    row = {"rebuild_id": "R-1", "pump_id": "P-1", "part": "outer plate", "found": "worn"}
    rows = [row | {"action": "renewed", "position": side} for side in ("left", "right", "unknown")]
    findings = [*small_tables()["findings"], *rows]
    records, lives, _ = steps(tmp_path, parts=[*part_rows(), PLATE], findings=findings)
    assert observe_shares(records, lives)["PLATE"].pieces.tolist() == [2]
    assert isinstance(share_table(records, observe_shares(records, lives)), pd.DataFrame)


def test_openings_that_take_one_more_often_never_ask_for_less():
    group = side_group(20, life_draws([1.0], [2000.0]))
    settings = {"review_days": 30.0, "replicates": 500, "seed": 3}
    points = []
    for renewed in (0, 20, 60, 100):
        part = loose(pieces=np.array([1, 2]), share=share((renewed, renewed), (100, 100)))
        (plate,) = simulate_demand(
            [group], [run_to_failure()], {"PLATE": (60.0, 60.0)}, loose=[[part]], **settings
        )
        points.append(reorder_point(assess_demand(plate, 1), 0.95))
    assert points == sorted(points)
    assert points[0] < points[-1]


# ---- which openings count ------------------------------------------------------------------------


def many_openings(took, *, kits=(), every=30, site="works"):
    """Breakdowns of P-3, one every so many days, and the issues of plates and kits by their number.

    Returns
    -------
    dict
        rebuilds and issued of 20 openings.
    """
    days = [100 + every * n for n in range(20)]
    rows = [
        {"rebuild_id": f"X-{n}", "pump_id": "P-3", "opened_on": on_day(day), "reason": "breakdown",
         "kit": "FK", "failed_part": "ball"}
        for n, day in enumerate(days)
    ]  # fmt: skip
    issued = [issue(f"X-{n}", "PLATE", 1, day=days[n]) for n in took]
    issued += [issue(f"X-{n}", "FK", 1, day=days[n]) for n in kits]
    return {"rebuilds": rows, "issued": issued, "parts": [*part_rows(), PLATE]}


def plate_share(folder, **tables):
    records, lives, _ = steps(folder, **tables)
    found = observe_shares(records, lives)
    return records, found.get("PLATE"), share_table(records, found)


def test_where_only_loose_parts_are_booked_openings_without_an_issue_took_none(tmp_path):
    _, found, table = plate_share(tmp_path, **many_openings([2, 6, 11, 17]))
    # openings 3 to 16; the first and the last issue only say since when and until when
    assert found.openings.tolist() == [0, 14]
    assert found.renewed.tolist() == [0, 2]
    assert found.uncounted == 2
    assert found.pieces.tolist() == [1] * 4
    assert table["note"].str.contains("since such parts are booked without kits").all()
    assert table["note"].str.contains("not counted: 2 openings that took one").all()


def test_where_orders_are_booked_whole_only_those_with_other_items_count(tmp_path):
    kits = [0, 2, 3, 6, 11, 14]
    _, found, table = plate_share(tmp_path, **many_openings([2, 6, 9, 11], kits=kits))
    # order 9 is in the books only for what it took: nobody knows of how many like it took none
    assert found.openings.tolist() == [0, 6]
    assert found.renewed.tolist() == [0, 3]
    assert table["note"].str.contains("whose order has other items issued").all()
    assert table["note"].str.contains("not counted: 1 opening that took one").all()


def test_a_few_kits_booked_make_no_whole_orders(tmp_path):
    tables = many_openings([2, 6, 11, 17], kits=[6])
    assert plate_share(tmp_path, **tables)[1].openings.tolist() == [0, 14]


def test_another_part_renewed_on_condition_tells_no_whole_order(tmp_path):
    """A worn rod goes with a worn plate: openings that took one say nothing of the others."""
    tables = many_openings([2, 6, 11, 17])
    rod = PLATE | {"part_no": "ROD", "part": "rod"}
    tables["issued"] += [issue(f"X-{n}", "ROD", day=100 + 30 * n) for n in (0, 2, 6, 17, 19)]
    tables["parts"].append(rod)
    found = plate_share(tmp_path, **tables)[1]
    assert found.openings.tolist() == [0, 18]  # such parts are booked from opening 0 to 19
    assert found.renewed.tolist() == [0, 4]


def test_one_issue_alone_tells_no_share(tmp_path):
    records, found, table = plate_share(tmp_path, **many_openings([5]))
    assert found is None
    assert table["note"].str.startswith("not known: no finding and no issue tells").all()
    assert records.log.has_rule("share_unknown")


def test_findings_of_renewed_parts_alone_add_no_openings_to_the_store_s_books(tmp_path):
    tables = many_openings([2, 6, 11], kits=range(12))
    about = {"pump_id": "P-3", "part": "outer plate", "found": "worn"}
    worn = [about | {"rebuild_id": f"X-{n}", "action": "renewed"} for n in (6, 14, 15)]
    _, found, _ = plate_share(tmp_path / "a", **tables, findings=worn)
    assert (found.renewed.sum(), found.openings.sum()) == (3, 12)
    kept = about | {"rebuild_id": "X-16", "found": "sound", "action": "kept"}
    _, found, _ = plate_share(tmp_path / "b", **tables, findings=[*worn, kept])
    assert (found.renewed.sum(), found.openings.sum()) == (5, 15)


def test_both_ways_of_booking_tell_the_same_share(tmp_path):
    """Plates at one opening in four: whatever else is booked, the share is near a quarter."""
    took = [1, 5, 9, 13, 17]
    for name, kits in (("whole", range(20)), ("loose", ())):
        _, found, _ = plate_share(tmp_path / name, **many_openings(took, kits=kits))
        share_seen = found.renewed.sum() / found.openings.sum()
        assert share_seen == pytest.approx(0.25, abs=0.06), name
