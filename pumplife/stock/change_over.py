"""What changing over costs besides the work: the shelf built up to its levels, or run down."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.read import Records
from pumplife.stock.budget import BUDGET_COLUMNS, Budget
from pumplife.stock.outcome import SHARES, Setting
from pumplife.stock.spent import EVERYWHERE
from pumplife.stock.stock_plan import StockPlan
from pumplife.stock.unpriced import say_unpriced
from pumplife.stock.write_offs import WRITE_OFFS, forecast_write_offs

FloatArray = NDArray[np.float64]


def sites_of_stores(setting: Setting) -> dict[str, str]:
    """The site that most of a store's pumps stand at, by store."""
    pairs = pd.DataFrame(
        {
            "store": np.concatenate([group.store for group in setting.groups]),
            "site": np.concatenate([group.site for group in setting.groups]),
        }
    )
    counted = pairs.value_counts(sort=False).rename("pumps").reset_index()
    counted = counted.sort_values(["pumps", "site"], ascending=[False, True], kind="stable")
    first = counted.drop_duplicates("store")
    return dict(zip(first["store"].astype(str), first["site"].astype(str), strict=True))


def complete_budget(records: Records, budget: Budget, plan: StockPlan) -> pd.DataFrame:
    """The budget with what its events don't tell: the change of the shelf, and write-offs.

    Parameters
    ----------
    records : Records
        Gives the bags on the shelf; its audit is told of what has no price.
    budget : Budget
    plan : StockPlan
        The stock table, what openings take beside the kit, and whose demand isn't known.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`. Rows write_offs [items] and write_off_money [money] of every
        scenario: pieces of today's shelf that expire before they are used, those expired already
        in the first row; of items whose demand isn't known only these.
    """
    setting = budget.setting
    if setting is None:
        return budget.table
    say_unpriced(records, plan)
    lost = forecast_write_offs(
        records,
        setting.groups,
        budget.ways,
        edges=setting.years.edges,
        seed=setting.seed,
        loose=plan.loose,
        ahead=setting.ahead,
        unknown=plan.unknown,
    )
    rows = [
        _rows(setting, scenario, quantity, values[..., number])
        for scenario, values in lost.items()
        for number, quantity in enumerate(WRITE_OFFS)
    ]
    table = pd.concat([add_stock_change(budget, plan.stock), *rows], ignore_index=True)
    return table[list(BUDGET_COLUMNS)]


def add_stock_change(budget: Budget, stock: pd.DataFrame) -> pd.DataFrame:
    """The budget with the change of the shelf's value, year by year and site by site.

    Levels below the advised ones are built up in the first row; what lies above them is run down
    as fast as work takes it. Money for spare pumps isn't in it, nor items without a price.

    Parameters
    ----------
    budget : Budget
    stock : DataFrame
        The stock table.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`: rows of the quantity stock_change [money], below 0 where the
        shelf is run down, for the way that the plant follows; percentiles are the mean.
    """
    setting = budget.setting
    if setting is None or stock.empty:
        return budget.table
    known = stock.assign(site=stock["store"].map(sites_of_stores(setting))).dropna(subset=["site"])
    rows = extra_rows(budget, "stock_change", known["site"], _change(known, setting)[..., None])
    return pd.concat([budget.table, rows], ignore_index=True)[list(BUDGET_COLUMNS)]


def _change(stock: pd.DataFrame, setting: Setting) -> FloatArray:
    """Change of the value of each item by year, (items, years) [money]; 0 without a price."""
    change = (stock["capital"].fillna(0.0) - stock["capital_today"].fillna(0.0)).to_numpy(float)
    change = np.where(stock["capital"].isna() & stock["order_up_to"].ne(0.0), 0.0, change)
    lying = stock["today_on_hand"].to_numpy(float)
    value = stock["capital_today"].fillna(0.0).to_numpy(float)
    price = np.divide(value, lying, out=np.zeros(lying.size), where=lying > 0.0)
    use = (stock["demand_per_year"] + stock["planned_per_year"].fillna(0.0)).to_numpy(float)
    length = np.diff(setting.years.edges)
    until = np.cumsum(length) * (np.nan_to_num(use) * price)[:, None]
    down = np.minimum(until, np.maximum(-change, 0.0)[:, None])
    built = np.zeros((change.size, length.size))
    built[:, 0] = np.maximum(change, 0.0)
    return np.asarray(built - np.diff(down, axis=1, prepend=0.0))


def extra_rows(
    budget: Budget, quantity: str, site: "pd.Series[str]", values: FloatArray
) -> pd.DataFrame:
    """Rows of the budget for what its events don't tell: the shelf, what expires on it.

    Parameters
    ----------
    budget : Budget
        With a setting.
    quantity : str
        What it is called.
    site : Series of str (items,)
    values : array (items, years, futures)
        In the rows and the futures of the budget; one future where it is certain.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`, for the way that the plant follows; sums are taken within each
        future.
    """
    setting = budget.setting
    assert setting is not None, "a budget that nothing was simulated for has no extra rows"
    sums = np.array([values[(site == place).to_numpy()].sum(axis=0) for place in setting.sites])
    every = np.concatenate([sums.sum(axis=0, keepdims=True), sums])
    return _rows(setting, budget.follows, quantity, every)


def _rows(setting: Setting, scenario: str, quantity: str, every: FloatArray) -> pd.DataFrame:
    """Rows of the budget from values (places, years, futures); the whole plant, then its sites."""
    years = setting.years
    quantiles = np.quantile(every, SHARES, axis=2)
    where, year = (index.ravel() for index in np.indices(every.shape[:2]))
    table = pd.DataFrame(
        {
            "year": years.number[year],
            "site": np.array([EVERYWHERE, *setting.sites], dtype=object)[where],
            "scenario": scenario,
            "quantity": quantity,
            "p50": quantiles[0].ravel(),
            "p80": quantiles[1].ravel(),
            "p90": quantiles[2].ravel(),
            "mean": every.mean(axis=2).ravel(),
            "from_on": np.array(years.from_on, dtype="datetime64[ns]")[year],
            "to_on": np.array(years.to_on, dtype="datetime64[ns]")[year],
            "span": np.array(years.span, dtype=object)[year],
        }
    )
    return table[list(BUDGET_COLUMNS)]
