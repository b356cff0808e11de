"""What to do on Monday: what is to be done, ordered and looked at first, ten rows of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from pumplife.report.answer import GroupAdvice
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.links import link_groups, link_tickets
from pumplife.report.tables import PageTable, lay_out, write_date, write_many, write_number
from pumplife.ticket.write import pick_soon

FIRST = 10  # rows of each list; the whole of it is further down
ORDER = ("item", "store", "quantity", "order_by", "needed_by")
READY = {"on_shelf": "on the shelf", "arrives": "on their way", "late": "late", "order": "to order"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Brief:
    """One list of the summary.

    Attributes
    ----------
    title : str
        What it holds.
    said : str
        What it adds up to.
    rows : PageTable
        The first of them.
    whole, whole_words : str
        Where all of them are on the page, and what that place is called.
    """

    title: str
    said: str
    rows: PageTable
    whole: str
    whole_words: str

    def __repr__(self) -> str:
        return f"Brief({self.title}: {len(self.rows.rows)} rows)"


def brief(study: ReadableStudy) -> list[Brief]:
    """Give the lists of the summary: rebuilds to do, orders to place, the dearest pumps.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of Brief
        Only those that the study has rows for.
    """
    makers = (_rebuilds, _orders, _dearest)
    return [made for maker in makers if (made := maker(study)) is not None]


def split_running(advice: Sequence[GroupAdvice]) -> tuple[list[GroupAdvice], list[GroupAdvice]]:
    """Pick the pump groups that are run to failure, and those without advice.

    Parameters
    ----------
    advice : sequence of GroupAdvice
        All of them.

    Returns
    -------
    running, withheld : list of GroupAdvice
    """
    running = [group for group in advice if group.action.startswith("Run to failure")]
    return running, [group for group in advice if group.action.startswith("No advice")]


def say_ready(kit_ready: "pd.Series[str]") -> str:
    """Say for how many rebuilds the kit is there, under way or to order.

    Parameters
    ----------
    kit_ready : Series of str
        Of the table due.

    Returns
    -------
    str
        "Kits: 9 on the shelf, 2 on their way, 30 to order."
    """
    counts = kit_ready.astype(str).str.split().str[0].value_counts()
    told = [f"{counts[key]} {words}" for key, words in READY.items() if key in counts.index]
    return f"Kits: {', '.join(told)}." if told else ""


def _shown(
    study: ReadableStudy,
    frame: pd.DataFrame,
    name: str,
    columns: Sequence[str],
    links: Mapping[str, Sequence[str]] = MappingProxyType({}),
) -> PageTable:
    first = frame.head(FIRST)
    return lay_out(first, name, study_units(study), columns=columns, most=FIRST, links=links)


def _rebuilds(study: ReadableStudy) -> Brief | None:
    soon = pick_soon(study)
    if soon.empty:
        return None
    last = write_date(pd.to_datetime(soon["do_on"]).max())
    many = write_many(len(soon), "rebuild")
    first = soon.head(FIRST)
    links = {
        "pump_id": link_tickets(study, first),
        "kit": link_groups(first),
    }
    columns = ("pump_id", "side", "do_on", "kit", "kit_ready")
    return Brief(
        title="Rebuild in the coming weeks",
        said=f"{many} to do by {last}. {say_ready(soon['kit_ready'])}",
        rows=_shown(study, soon, "due", columns, links),
        whole="due",
        whole_words="All rebuilds due",
    )


def _orders(study: ReadableStudy) -> Brief | None:
    orders = find_table(study, "orders")
    if orders.empty:
        return None
    soonest = orders.sort_values(["order_by", "needed_by"], kind="stable")
    first_day = pd.to_datetime(orders["order_by"]).min()
    now = int((pd.to_datetime(orders["order_by"]) == first_day).sum())
    some = "" if now == len(orders) else f", {now} of them"
    words = f"{write_many(len(orders), 'order')} to place{some} by {write_date(first_day)}"
    if "amount" in orders.columns and orders["amount"].notna().all():
        total = write_number(float(orders["amount"].sum()))
        words = f"{words}; {total} {study_units(study).currency} in all"
    return Brief(
        title="Order",
        said=f"{words}.",
        rows=_shown(study, soonest, "orders", ORDER),
        whole="orders",
        whole_words="All orders, and why",
    )


def _dearest(study: ReadableStudy) -> Brief | None:
    pumps = find_table(study, "pumps")
    if pumps.empty or "cost_12m" not in pumps.columns:
        return None
    spent = pumps[pumps["cost_12m"] > 0].sort_values("cost_12m", ascending=False, kind="stable")
    if spent.empty:
        return None
    first = spent.head(FIRST)
    share = float(first["cost_12m"].sum() / spent["cost_12m"].sum())
    words = (
        f"{write_many(len(first), 'pump')} of {len(pumps)} made {100 * share:.0f} % of the cost of "
        "the last 12 months. Beside it stands what the lives of their parts lead one to expect."
    )
    columns = ("pump_id", "service", "breakdowns_12m", "cost_12m", "expected_cost")
    return Brief(
        title="Look at the dearest pumps",
        said=words,
        rows=_shown(study, spent, "pumps", columns),
        whole="pumps",
        whole_words="All pumps among their peers",
    )
