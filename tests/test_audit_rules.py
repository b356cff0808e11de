"""pumplife audit --rules: every check in words, without a folder."""

from pumplife.cli import main
from pumplife.report.rulebook import list_rules

from .faults.plant import plant


def test_every_check_is_listed_with_what_it_looks_for_and_what_to_do(capsys):
    assert main(["audit", "--rules"]) == 0
    told = capsys.readouterr().out
    rules = list_rules()
    assert told.endswith(f"{len(rules)} checks.\n")
    for rule in rules:
        block = f"{rule.severity}: {rule.name}\n  looks for: {rule.looks_for}\n"
        block += f"  the study: {rule.does}\n  to do: {rule.remedy}\n"
        assert block in told


def test_an_audit_without_a_folder_is_a_wrong_call(capsys):
    assert main(["audit"]) == 2
    assert "Name the plant folder" in capsys.readouterr().err


def test_an_audit_says_how_many_questions_are_open(capsys, tmp_path):
    assert main(["audit", str(plant("part_not_named", tmp_path))]) == 0
    told = capsys.readouterr().out
    assert "Questions that only you can settle: 1." in told
    assert "tables/questions.csv" in told
