"""Which materials the page names as worth changing to."""

import pandas as pd

from pumplife.report.tables import THIN
from pumplife.report.words import Units
from pumplife.report.worth_changing import list_worth_changing

EUR = Units(usage="h", currency="EUR", rate="1,000 h")


def _row(**other: object) -> dict[str, object]:
    row: dict[str, object] = {
        "service": "glaze", "part": "diaphragm", "material": "TPV", "variant": "",
        "reference": "NBR", "comparable": "yes", "compatibility_confirmed": "yes",
        "prob_cheaper": 0.95, "cost_per_1000": 233.4, "reference_cost_per_1000": 290.2,
    }  # fmt: skip
    return row | other


def test_only_confirmed_comparable_and_surely_cheaper_ones_the_surest_first() -> None:
    rows = [
        _row(),
        _row(part="ball", prob_cheaper=0.97),
        _row(part="seat", prob_cheaper=0.89),
        _row(part="seat", comparable="too few"),
        _row(part="seat", compatibility_confirmed="expired"),
        _row(part="seat", prob_cheaper=float("nan")),
    ]
    said = list_worth_changing(pd.DataFrame(rows), EUR)
    assert said == [
        "Ball in glaze: TPV instead of NBR, 233 against 290 EUR per 1,000 h, cheaper with a "
        f"chance of 97{THIN}%",
        "Diaphragm in glaze: TPV instead of NBR, 233 against 290 EUR per 1,000 h, cheaper with a "
        f"chance of 95{THIN}%",
    ]
    assert list_worth_changing(pd.DataFrame(), EUR) == []
