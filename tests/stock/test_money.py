"""What stands beside the budget, by hand: bridge, cash calendar, bookings, shelf, pump by pump."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.fits.build import fit_lives
from pumplife.lives.build import build_lives
from pumplife.policy.advice import advise
from pumplife.policy.ahead import open_outlook
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.stock.booked import BOOKED_COLUMNS, compare_booked
from pumplife.stock.bridge import STEPS, LastYear, build_bridge
from pumplife.stock.budget import Budget, plan_budget
from pumplife.stock.by_pump import split_budget
from pumplife.stock.cash import plan_cash
from pumplife.stock.change_over import add_stock_change, extra_rows, sites_of_stores
from pumplife.stock.future import planned_at
from pumplife.stock.loose import LoosePart, with_loose
from pumplife.stock.outcome import SUMS, Setting, run_way
from pumplife.stock.plans import join_coming
from pumplife.stock.prices import PriceRise
from pumplife.stock.shelf import plan_stock
from pumplife.stock.transfers import transfer_frame
from pumplife.stock.years import BudgetYears, plain_years
from tests.plants import SETTINGS, on_day, rebuild_rows, small_plant
from tests.stock.fleets import lives as life_draws
from tests.stock.fleets import run_to_failure, side_group
from tests.stock.test_budget import AMOUNT

HOURS = {"labour_h": 4.0, "downtime_h": 8.0, "other_cost": 70.0}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The small plant with hours on its tickets, bookings and a financial year, all the way."""
    plan = [{"service": "slip", "pump_id": "", "from_on": on_day(731), "use_factor": 1.5}]
    months = pd.period_range("2021-01", "2021-12", freq="M")
    spend = [
        {"month": f"{month}-15", "site": "works", "quantity": name, "amount": amount}
        for month in months
        for name, amount in (("money", 100.0), ("kits", 0.0), ("bribes", 5.0))
    ]
    settings = SETTINGS + '\n[budget]\nyear_starts = "04-01"\nprice_rise = { kits = 0.1 }\n'
    folder = small_plant(
        tmp_path_factory.mktemp("plant"),
        plant_toml=settings,
        rebuilds=[row | HOURS for row in rebuild_rows()],
        plan=plan,
        spend=spend,
    )
    records = read_records(folder)
    duty = build_duty(records)
    clock = build_clock(records, duty)
    fits, lives = fit_lives(records, build_lives(records, duty, clock), seed=1)
    advice = advise(records, duty, clock, lives, fits)
    outlook = open_outlook(records)
    coming = join_coming(records, advice, outlook)
    stock = plan_stock(records, lives, coming, seed=1, outlook=outlook)
    budget = plan_budget(records, lives, coming, seed=1, outlook=outlook)
    known = LastYear(records=records, clock=clock, lives=lives, advice=advice)
    return known, fits, stock, budget


def test_money_is_what_it_pays(whole):
    *_, budget = whole
    table = budget.table
    mean = table.pivot_table(
        index=["scenario", "year", "site"], columns="quantity", values="mean", sort=False
    )
    parts = mean[["material", "labour", "downtime", "consequences"]].sum(axis=1)
    assert parts.to_numpy() == pytest.approx(mean["money"].to_numpy())
    assert table.loc[table["year"] == 0, "span"].unique().tolist() == [
        "last 12 months", "part year",
    ]  # fmt: skip


def test_the_bridge_adds_up_for_every_site(whole):
    known, _, _, budget = whole
    bridge = build_bridge(known, budget)
    assert bridge["cause"].tolist() == [cause for cause, _ in STEPS] * 2
    for _, rows in bridge.groupby("site"):
        amount, level = rows["amount"].to_numpy(), rows["level"].to_numpy()
        assert amount[:-1].sum() == pytest.approx(amount[-1])
        assert np.cumsum(amount[:-1]) == pytest.approx(level[:-1])
    table = budget.table
    money = table[(table["quantity"] == "money") & (table["site"] == "all")].set_index("scenario")
    every = bridge[bridge["site"] == "all"]
    assert every["level"].iloc[0] == money.loc["actual", "mean"]
    first = money[(money["year"] == 1)]
    assert every["level"].iloc[-1] == pytest.approx(first.loc["advised", "mean"])
    by_cause = every.groupby("cause")["amount"].sum()
    assert by_cause["price"] > 0  # kits rise by a tenth after the part year
    assert by_cause["volume"] > 0  # use goes up by half


def test_no_bridge_where_tickets_lack_hours(whole):
    known, _, _, budget = whole
    bare = replace(budget, table=budget.table[budget.table["scenario"] != "actual"])
    assert build_bridge(known, bare).empty


def test_services_and_pumps_add_up_to_the_budget(whole):
    known, _, _, budget = whole
    tables = split_budget(known.records, budget)
    rows = budget.table[(budget.table["site"] == "all") & (budget.table["year"] == 1)]
    rows = rows[rows["scenario"] == "advised"].set_index("quantity")
    for table in tables.values():
        for name, quantity in (("mean", "money"), ("kits", "kits"), ("breakdowns", "breakdowns")):
            assert table[name].sum() == pytest.approx(rows.loc[quantity, "mean"])
        assert (table["p80"] >= 0).all()
    assert tables["budget_services"]["p80"].sum() == pytest.approx(rows.loc["money", "p80"])
    assert tables["budget_pumps"]["p80"].sum() > rows.loc["money", "p80"]
    assert set(tables["budget_pumps"]["pump_id"]) == {"P-1", "P-2", "P-3"}


def by_hand(groups, years, ways, **more):
    setting = Setting(
        groups=groups, amounts=[AMOUNT] * len(groups), ahead=[None] * len(groups), years=years,
        rise=PriceRise(), replicates=300, seed=3,
    )  # fmt: skip
    outcome = run_way(setting, ways)
    return Budget(
        table=pd.DataFrame(), setting=setting, ways={"advised": ways},
        outcomes={"advised": outcome}, follows="advised", **more,
    )  # fmt: skip


def dated_years():
    days = pd.date_range("2025-01-01", periods=4, freq="YS")
    return BudgetYears(
        edges=np.array([(day - days[0]).days for day in days]) / 365.25,
        number=np.arange(1, 4),
        from_on=tuple(days[:-1]),
        to_on=tuple(day - pd.Timedelta(days=1) for day in days[1:]),
    )


def test_overdue_sides_are_the_backlog_of_the_first_year():
    group = side_group(5, life_draws([3.0], [1e9]), age=900.0)
    outcome = by_hand([group], plain_years(), [planned_at(600.0)]).outcomes["advised"]
    backlog = outcome.of("backlog").mean(axis=1)
    assert backlog == pytest.approx([5 * (300 + 2 * 50 + 3 * 100), 0, 0])


def test_the_backlog_is_paid_when_the_due_list_has_it():
    """Two sides are past 600 h, one of them is put off to the second year; three aren't past it."""
    ages = np.array([900.0, 700.0, 0.0, 100.0, 500.0])[:, None]
    group = side_group(5, life_draws([3.0], [1e9]), age=ages)
    way = replace(planned_at(600.0), first_days=np.array([20.0, 400.0, 20.0, np.nan, 60.0]))
    outcome = by_hand([group], plain_years(), [way]).outcomes["advised"]
    each = 300 + 2 * 50 + 3 * 100
    assert outcome.of("backlog").mean(axis=1) == pytest.approx([each, each, 0])


def test_sums_of_sites_are_the_whole_in_every_future():
    groups = [side_group(4, life_draws([1.5], [800.0]), first=4 * n) for n in range(2)]
    groups[1].site[:] = "NORTH"
    ways = [run_to_failure(0.5)] * 2
    outcome = by_hand(groups, plain_years(), ways).outcomes["advised"]
    for name in SUMS:
        apart = outcome.of(name, site="NORTH") + outcome.of(name, site="SITE")
        assert outcome.of(name) == pytest.approx(apart)


def test_dearer_by_a_factor_scales_the_money():
    group = side_group(4, life_draws([1.5], [800.0]))
    setting = by_hand([group], plain_years(), [run_to_failure(0.5)]).setting
    names = ("kit_money", "part_money", "labour_money", "downtime_money", "other_money")
    dear = replace(AMOUNT, **{name: 3.0 * getattr(AMOUNT, name) for name in names})
    cheap, dearer = (
        run_way(replace(setting, amounts=[amount]), [run_to_failure(0.5)]).of("money")
        for amount in (AMOUNT, dear)
    )
    assert dearer == pytest.approx(3.0 * cheap)


SPARE = ("surplus", "surplus_value")
STOCK = pd.DataFrame(
    {
        "store": ["MAIN", "MAIN", "MAIN"],
        "item": ["K", "B", "old"],
        "capital": [900.0, 80.0, np.nan],
        "capital_today": [300.0, 800.0, 50.0],
        "today_on_hand": [1.0, 10.0, 1.0],
        "order_up_to": [4.0, 2.0, 0.0],
        "demand_per_year": [5.0, 3.0, 0.0],
        "planned_per_year": [0.0, 0.0, np.nan],
        "surplus": [0.0, 8.0, 1.0],
        "surplus_value": [0.0, 640.0, 50.0],
    }
)


def test_the_shelf_is_built_up_at_once_and_run_down_as_work_takes_it():
    group = side_group(2, life_draws([3.0], [1e9]))
    budget = by_hand([group], dated_years(), [planned_at(500.0)])
    rows = add_stock_change(budget, STOCK)
    rows = rows[rows["site"] == "SITE"]
    # kits 600 up; parts 720 too many, 3 a year at 80; what nothing takes lies on
    use = 240 * np.diff(budget.setting.years.edges)
    assert rows["mean"].tolist() == pytest.approx([600 - use[0], -use[1], -use[2]])
    assert rows["p90"].tolist() == rows["mean"].tolist()


def test_extra_rows_take_percentiles_of_sums():
    groups = [side_group(2, life_draws([3.0], [1e9]), first=2 * n) for n in range(2)]
    groups[1].site[:] = "NORTH"
    budget = by_hand(groups, dated_years(), [planned_at(500.0)] * 2)
    drawn = np.random.default_rng(1).exponential(100.0, (2, 3, 4000))
    rows = extra_rows(budget, "write_offs", pd.Series(["NORTH", "SITE"]), drawn)
    p80 = rows.set_index(["site", "year"])["p80"]
    assert p80["all", 1] == pytest.approx(np.quantile(drawn[:, 0].sum(axis=0), 0.8))
    assert p80["all", 1] < p80["NORTH", 1] + p80["SITE", 1]


def test_a_store_belongs_to_the_site_of_most_of_its_pumps():
    groups = [side_group(3, life_draws([3.0], [1e9])), side_group(2, life_draws([3.0], [1e9]))]
    groups[1].site[:] = "NORTH"
    setting = by_hand(groups, plain_years(), [planned_at(500.0)] * 2).setting
    assert sites_of_stores(setting) == {"MAIN": "SITE"}


def test_cash_by_hand(whole):
    """Five pumps, kit every 500 h of 1000 h a year: ordered 20 days before the jobs."""
    known, _, stock, _ = whole
    group = side_group(5, life_draws([3.0], [1e9]), kit="FK", usage=1000.0)
    budget = by_hand([group], dated_years(), [planned_at(500.0)])
    records = replace(
        known.records, plant=replace(known.records.plant, records_to=pd.Timestamp("2024-12-31"))
    )
    none = replace(stock, orders=stock.orders.head(0), stock=stock.stock.assign(surplus=0.0))
    cash = plan_cash(records, budget, none)
    assert set(cash["what"]) == {"planned jobs"}
    # jobs on day 182.6, 365.25, ...; each orders five kits 20 days ahead, the last is beyond
    days = 182.625 * np.arange(1, 7) - 20
    months = [f"{pd.Timestamp('2025-01-01') + pd.Timedelta(days=day):%Y-%m}" for day in days]
    assert cash["month"].dt.strftime("%Y-%m").tolist() == months
    assert cash["amount"].to_numpy() == pytest.approx(np.full(6, 5 * 300.0))


def test_surplus_is_used_before_anything_is_bought(whole):
    known, _, stock, _ = whole
    group = side_group(5, life_draws([1.0], [500.0]), kit="FK")
    budget = by_hand([group], dated_years(), [run_to_failure()])
    table = stock.stock.head(1).assign(store="MAIN", item="FK", surplus=7.0, surplus_value=2100.0)
    records = replace(
        known.records, plant=replace(known.records.plant, records_to=pd.Timestamp("2024-12-31"))
    )
    spare, none = (
        plan_cash(records, budget, replace(stock, orders=stock.orders.head(0), stock=frame))
        for frame in (table, table.assign(surplus=0.0, surplus_value=0.0))
    )
    assert none["amount"].sum() - spare["amount"].sum() == pytest.approx(7 * 300)
    material = budget.outcomes["advised"].of("material").sum(axis=0).mean()
    assert none["amount"].sum() == pytest.approx(material, rel=0.05)  # other futures


def test_surplus_that_is_moved_is_no_more_used_where_it_lay(whole):
    known, _, stock, _ = whole
    budget = by_hand(
        [side_group(5, life_draws([1.0], [500.0]), kit="FK")], dated_years(), [run_to_failure()]
    )
    table = stock.stock.head(1).assign(store="MAIN", item="FK", surplus=7.0, surplus_value=2100.0)
    plant = replace(known.records.plant, records_to=pd.Timestamp("2024-12-31"))
    moves = transfer_frame(
        [{"item": "FK", "from_store": "MAIN", "to_store": "NORTH", "order_avoided": 600.0}]
    )
    kept, given = (
        plan_cash(
            replace(known.records, plant=plant),
            budget,
            replace(stock, orders=stock.orders.head(0), stock=table, transfers=moved),
        )
        for moved in (moves.head(0), moves)
    )
    assert given["amount"].sum() - kept["amount"].sum() == pytest.approx(600.0)


def test_surplus_of_a_kit_pays_for_no_other_item(whole):
    """Rings go with every kit, air kits with each fouled air side; each counts by itself."""
    known, _, stock, _ = whole
    paid = np.array([0.0, 40.0, 40.0])
    amount = replace(AMOUNT, kit_money=AMOUNT.kit_money + paid, air_money=paid)
    ring = LoosePart(
        part_no="RING", part="o-ring", pieces=np.array([2]), held=0, share=None, unit_cost=10.0
    )
    groups = [
        side_group(5, life_draws([1.0], [500.0]), kit="FK"),
        side_group(5, life_draws([5.0], [1e9]), kit="AK", side="air"),
    ]
    ways = [run_to_failure(0.5), run_to_failure()]
    budget = by_hand(groups, dated_years(), ways)
    amounts = [with_loose(amount, [ring], 1), AMOUNT]
    budget = replace(budget, setting=replace(budget.setting, amounts=amounts))
    plant = replace(known.records.plant, records_to=pd.Timestamp("2024-12-31"))
    records = replace(known.records, plant=plant)

    def bought(**spare):
        """Money for all that is bought, so many of each item being above its level."""
        rows = [
            {"store": "MAIN", "item": item, "surplus": n, "surplus_value": n}
            for item, n in spare.items()
        ]
        frame = pd.DataFrame(rows, columns=["store", "item", *SPARE]).astype(
            dict.fromkeys(SPARE, float)
        )
        plan = replace(stock, orders=stock.orders.head(0), stock=frame, loose=[(ring,), ()])
        return plan_cash(records, budget, plan)["amount"].sum()

    failures = budget.outcomes["advised"].of("breakdowns").sum(axis=0).mean()
    every, heap = bought(), 1e9  # more than all that is ever taken, at a price of one
    worth = {"FK": 0.5 * 300, "B": 0.5 * 80, "AK": 40, "RING": 2 * 10}
    for item, each in worth.items():
        assert every - bought(**{item: heap}) == pytest.approx(failures * each, rel=0.05)
    assert bought(**dict.fromkeys(worth, heap)) == 0


def test_orders_to_place_now_stand_in_their_month(whole):
    known, _, stock, budget = whole
    cash = plan_cash(known.records, budget, stock)
    now = cash[cash["what"] == "orders to place now"]
    assert now["amount"].sum() == pytest.approx(stock.orders["amount"].sum())
    assert (cash["amount"] > 0).all()


def test_what_was_booked_stands_beside_tickets_and_model(whole):
    known, fits, _, budget = whole
    booked = compare_booked(known, fits, budget.setting.groups)
    assert tuple(booked.columns) == BOOKED_COLUMNS
    row = booked[(booked["quantity"] == "money") & (booked["site"] == "all")].iloc[0]
    # after the year's start: two kits, three jobs of 4 h at 50, 70 of other cost, two call-outs
    assert row["by_tickets"] == 2 * 200 + 3 * (4 * 50 + 70) + 2 * 100
    assert (row["booked"], row["months"]) == (1200.0, 12)
    assert row["ratio"] == pytest.approx(1200 / row["expected"])
    assert row["low"] <= row["expected"] <= row["high"]
    kits = booked[(booked["quantity"] == "kits") & (booked["site"] == "all")].iloc[0]
    assert (kits["booked"], kits["by_tickets"]) == (0, 400)
    told = known.records.log.frame()
    assert "bribes" in told.loc[told["rule"] == "spend_not_compared", "what"].iloc[0]
    twice = kits["expected"] > 0
    assert twice
    rows = known.records.table("spend")
    known.records.tables["spend"] = rows.assign(amount=100 * rows["amount"])
    loud = compare_booked(known, fits, budget.setting.groups)
    says = loud[(loud["quantity"] == "money") & (loud["site"] == "all")]["says"].iloc[0]
    assert says.startswith("above the band")
    known.records.tables["spend"] = rows


def booked_as(known, fits, budget, **amounts):
    """The rows of booked and the new cautions on units, where a year is booked at these sums."""
    rows = known.records.table("spend")
    twelve = rows[rows["quantity"] == "money"]
    try:
        known.records.tables["spend"] = pd.concat(
            [twelve.assign(quantity=name, amount=sum_of / 12) for name, sum_of in amounts.items()]
        )
        before = len(asked_units(known))
        table = compare_booked(known, fits, budget.setting.groups)
    finally:
        known.records.tables["spend"] = rows
    return table[table["site"] == "all"].set_index("quantity"), asked_units(known).iloc[before:]


def asked_units(known):
    audit = known.records.log.frame()
    return audit[audit["rule"] == "spend_unit"]


def test_pieces_booked_as_money_are_asked_for_their_unit(whole):
    known, fits, _, budget = whole
    table, told = booked_as(known, fits, budget, kits=3.0, labour_h=12.0, money=0.0)
    assert table.loc["kits", "ratio"] < 0.02
    assert table.loc["kits", "says"].endswith("is its unit right?")
    assert told["what"].str.contains("as kits").tolist() == [True]
    assert told["remedy"].iloc[0] == "Book kits in money, for kits and parts, not in pieces."
    assert table.loc["labour_h", "ratio"] > 0.02
    assert "unit" not in table.loc["money", "says"]  # nothing booked isn't a wrong unit


def test_money_booked_as_hours_is_asked_for_its_unit(whole):
    known, fits, _, budget = whole
    table, told = booked_as(known, fits, budget, labour_h=100_000.0)
    assert table.loc["labour_h", "ratio"] > 50
    assert told["remedy"].tolist() == ["Book labour_h in hours."]


def test_an_unknown_booking_is_told_each_name_and_its_unit(whole):
    known, fits, _, budget = whole
    compare_booked(known, fits, budget.setting.groups)
    told = known.records.log.frame()
    remedy = told.loc[told["rule"] == "spend_not_compared", "remedy"].iloc[0]
    assert remedy == (
        "Book as money (in money, all that is paid); kits (in money, for kits and parts, not in "
        "pieces); labour_h (in hours); downtime_h (in hours)."
    )
