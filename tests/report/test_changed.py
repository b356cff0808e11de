"""What the page tells first of what changed."""

from types import SimpleNamespace

import pandas as pd

from pumplife.report.changed import say_changes


def test_a_change_below_the_digits_shown_is_listed_but_not_told(study: SimpleNamespace) -> None:
    rows = [("Slip, fluid", "1458.6", "1461.2"), ("Glaze, fluid", "968", "889")]
    changes = pd.DataFrame(rows, columns=["key", "before", "after"]).assign(
        table="intervals", column="interval", cause="records", share_of_change=1.0
    )
    study.tables["changes"] = changes.assign(reached=changes["after"])
    said = say_changes(study)
    assert said is not None
    assert said.largest == ("Glaze, fluid: 968 → 889 h, by records.",)
    assert said.count == "2 answers changed since the last study."
    study.tables["changes"] = study.tables["changes"].iloc[:1]
    said = say_changes(study)
    assert said is not None
    assert said.largest == ()
