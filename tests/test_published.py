"""Every published number that the package recomputes; the files read name its source."""

import pytest

from tests.reference import checks

EXAMPLES = [(area, name) for area, module in checks.MODULES.items() for name in module.REPRODUCED]
COMPARED = {"fits": 141, "regressions": 86, "recurrent": 210, "policy": 96, "stock": 55}


@pytest.mark.parametrize(("area", "example"), EXAMPLES)
def test_example_is_reproduced(area, example):
    table = checks.compare(area, example)
    assert len(table) > 0
    outside = table[~table["within"]]
    assert outside.empty, outside.to_string()


@pytest.mark.parametrize("area", checks.MODULES)
def test_no_number_fell_out_of_the_comparison(area):
    assert len(checks.compare_area(area)) >= COMPARED[area]


def test_a_wrong_digit_is_seen(monkeypatch):
    check = checks.published("regressions")["R12"]
    changed = [one | {"printed": "-0.7442259"} if one["name"] == "x" else one
               for one in check["outputs"]]  # fmt: skip
    monkeypatch.setitem(checks.published("regressions"), "R12", check | {"outputs": changed})
    table = checks.compare("regressions", "R12").set_index("quantity")
    assert table.index[~table["within"]].tolist() == ["x"]


def test_what_is_recalled_or_computed_is_said():
    known = checks.summarise().set_index("example")["standing"]
    assert known["R02"] == "seen on a public page"
    assert known["R15"] == "from memory"
    assert known["P09"] == known["P06"] == "computed independently"
