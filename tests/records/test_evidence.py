"""[evidence] and [prior]: rules on data and priors that a plant may set."""

import pytest

from pumplife.errors import SettingError
from pumplife.records.audit import AuditLog
from pumplife.records.plant import build_plant

UNIT = {"plant": {"usage_unit": "hours"}}


def build(**sections):
    """Build the plant of these settings; give it and its audit."""
    log = AuditLog()
    return build_plant({**UNIT, **sections}, "plant.toml", log), log.frame()


def test_rules_and_priors_are_read_by_name():
    plant, audit = build(evidence={"weak": 3, "narrow_band": 1.5},
                         prior={"diaphragm": {"shape": 2.6, "spread": 0.2}})  # fmt: skip
    assert plant.evidence == {"weak": 3, "narrow_band": 1.5}
    assert plant.priors == {"diaphragm": {"shape": 2.6, "spread": 0.2}}
    assert not audit["rule"].eq("unknown_setting").any()
    assert build()[0].evidence == {}
    assert build()[0].priors == {}


def test_misspelt_ones_are_cautioned():
    _, audit = build(evidence={"useable": 3}, prior={"diaphragm": {"shap": 2.0}})
    remedies = audit.loc[audit["rule"] == "unknown_setting", ["what", "remedy"]].to_numpy().tolist()
    assert ["plant.toml: [evidence] useable is not a setting that pumplife knows.",
            "Did you mean usable?"] in remedies  # fmt: skip
    assert ["plant.toml: [prior.diaphragm] shap is not a setting that pumplife knows.",
            "Did you mean shape?"] in remedies  # fmt: skip


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ({"evidence": {"weak": "five"}}, "weak = 'five' must be a number"),
        ({"evidence": {"usable": 30}}, "usable = 30, good = 20 must rise"),
        ({"evidence": {"weak": 0}}, "must rise from 1 failure on"),
        ({"evidence": {"narrow_band": 1}}, "a ratio above 1"),
        ({"evidence": 5}, r"must be a section, written \[evidence\]"),
        ({"prior": {"ball": {"shape": 0}}}, r"\[prior.ball\] shape = 0 must be a number above 0"),
        ({"prior": {"ball": {"spread": -0.2}}}, "spread = -0.2 must be a number"),
        ({"prior": {"ball": 2.0}}, r"must be a section, written \[prior.ball\]"),
    ],
)
def test_what_cant_be_used_is_refused_by_name(sections, words):
    with pytest.raises(SettingError, match=words):
        build(**sections)
