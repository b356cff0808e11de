"""Rules over what the stores issued: kits without an order, orders without a kit, returns."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import SILENT, Story, within_days
from pumplife.records.plant import to_days

NEAR = 30.0
"""An issue belongs to an order within so many days [day]."""
USUAL, MANY = 0.98, 20
"""Where at least this share of so many kits on orders was issued, one that wasn't is doubtful."""


def _kits(story: Story) -> set[str]:
    return set(story.records.table("kits")["kit"])


def find_issues_without_order(story: Story) -> pd.DataFrame:
    """Kits issued to a pump that has no order near the day."""
    rows = story.issued
    rows = rows[rows["item"].isin(_kits(story)) & rows["quantity"].gt(0) & rows["pump"].ge(0)]
    rows = rows[rows["rebuild_id"].eq("") & (rows["day"] <= story.end - NEAR)]
    day = rows["day"].to_numpy(dtype=np.float64)
    low, high = within_days(story.orders, rows["pump"].to_numpy(np.int64), day - NEAR, day + NEAR)
    found = rows[low == high]
    what = [f"Kit {kit} was issued, but no order is near that day." for kit in found["item"]]
    return tell(found, "issued", what)


def find_orders_without_issue(story: Story) -> pd.DataFrame:
    """Kits on orders that no store issued, where the stores issue nearly all."""
    tickets = story.tickets[~story.tickets["kit"].isin(SILENT)]
    issues = story.issued
    issues = issues[issues["quantity"] > 0]
    if tickets.empty or issues.empty:
        return tell(tickets.iloc[:0], "rebuilds", "")
    for_order = np.isin(tickets["order"], issues["order"])  # this kit, another, loose parts
    drawn = for_order | _issued_near(tickets, issues)
    by_site = pd.Series(drawn, index=tickets.index).groupby(_site(story, tickets))
    share = by_site.transform("mean")
    usual = (share >= USUAL) & (by_site.transform("size") >= MANY)
    found = tickets[~drawn & usual & tickets["done"].ne("no")]
    what = [
        f"No store issued kit {kit} for this order; {part:.0%} of the site's kits were issued."
        for kit, part in zip(found["kit"], share[found.index], strict=True)
    ]
    return tell(found, "rebuilds", what)


def _site(story: Story, tickets: pd.DataFrame) -> NDArray[np.object_]:
    place = tickets["place"].to_numpy(np.int64)
    sites: NDArray[np.object_] = story.orders["site"].to_numpy(object)[place]
    return sites


def _issued_near(tickets: pd.DataFrame, issues: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether the kit was issued to the pump, without an order, near the day."""
    loose = issues[issues["rebuild_id"].eq("") & issues["pump"].ge(0)]
    items = pd.Index(pd.concat([tickets["kit"], loose["item"]]).unique())
    count = len(items)
    keyed = pd.DataFrame(
        {"pump": loose["pump"] * count + items.get_indexer(loose["item"]), "day": loose["day"]}
    ).sort_values(["pump", "day"])
    asked = (tickets["pump"] * count + items.get_indexer(tickets["kit"])).to_numpy(np.int64)
    day = tickets["day"].to_numpy(dtype=np.float64)
    low, high = within_days(keyed, asked, day - NEAR, day + NEAR)
    near: NDArray[np.bool_] = low < high
    return near


def find_other_kit_issued(story: Story) -> pd.DataFrame:
    """Orders whose store issued another kit of that side than the ticket names."""
    sides = story.records.table("kits").drop_duplicates("kit").set_index("kit")["side"]
    issues = story.issued
    issues = issues[issues["item"].isin(sides.index) & issues["order"].ge(0)]
    net = issues.groupby(["order", "item"], as_index=False)["quantity"].sum()
    net = net[net["quantity"] > 0].assign(side=lambda rows: rows["item"].map(sides))
    tickets = story.tickets[story.tickets["kit_side"].ne("")]
    if net.empty:
        return tell(tickets.head(0), "rebuilds", [])
    joined = tickets.merge(
        net[["order", "side", "item"]], left_on=["order", "kit_side"], right_on=["order", "side"]
    )
    same = joined["kit"].eq(joined["item"]).groupby(joined["row"]).transform("any")
    found = joined[~same].drop_duplicates(["row"])
    what = [
        f"The ticket names kit {kit}, the store issued {item} for it."
        for kit, item in zip(found["kit"], found["item"], strict=True)
    ]
    return tell(found, "rebuilds", what)


def find_kits_issued_twice(story: Story) -> pd.DataFrame:
    """More kits of one number issued for an order than it has pumps."""
    issues = story.issued
    issues = issues[issues["item"].isin(_kits(story)) & issues["order"].ge(0)]
    issues = issues.assign(net=issues.groupby(["order", "item"])["quantity"].transform("sum"))
    pumps = story.orders.groupby("order").size()
    most = issues["order"].map(pumps).fillna(1.0)
    many = issues[(issues["net"] > most) & issues["quantity"].gt(0)]
    found = many.drop_duplicates(["order", "item"], keep="last")
    what = [
        f"{net:g} of kit {kit} were issued for order {number}, and none came back."
        for net, kit, number in found[["net", "item", "rebuild_id"]].itertuples(index=False)
    ]
    return tell(found, "issued", what)


def find_returns_beyond_issues(story: Story) -> pd.DataFrame:
    """More returned for an order or a pump than was issued."""
    issues = story.issued
    key = ["order", "pump", "item"]
    net = issues.groupby(key)["quantity"].transform("sum")
    back = issues[(net < 0) & (issues["quantity"] < 0)].drop_duplicates(key)
    told = back["order"].ge(0) | back["pump"].ge(0)
    found = back[told]
    what = [f"More of {item} came back than was issued." for item in found["item"]]
    return tell(found, "issued", what)


def find_future_cures(story: Story) -> pd.DataFrame:
    """Stock cured after the records end."""
    shelf = story.records.table("on_hand")
    found = shelf[to_days(shelf["cure_date"]) > story.end].assign(pump_id="")
    return tell(found, "on_hand", "The cure date lies after the end of the records.")
