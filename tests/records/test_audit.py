"""The audit keeps every row once and the gravest first."""

import pandas as pd
import pytest

from pumplife.records.audit import AUDIT_COLUMNS, AuditLog


def test_stops_come_first_and_repeats_once():
    log = AuditLog()
    log.add("note", "a", rule="x")
    log.add("caution", "b", rule="x", row=3)
    log.add("caution", "b", rule="x", row=3)
    assert not log.has_stop
    log.add("stop", "c", rule="y")
    frame = log.frame()
    assert log.has_stop
    assert list(frame["what"]) == ["c", "b", "a"]
    assert list(frame.columns) == list(AUDIT_COLUMNS)
    assert frame["row"].dtype == "Int64"


def test_many_rows_take_their_place_from_the_frame():
    log = AuditLog()
    rows = pd.DataFrame({"row": [4, 7], "pump_id": ["P1", "P2"]})
    log.add_rows(rows, severity="caution", rule="x", what=["one", "two"], remedy="mend")
    log.add_rows(rows.iloc[:0], severity="caution", rule="x", what="none")
    frame = log.frame()
    assert frame[["row", "pump_id", "what", "remedy"]].to_numpy().tolist() == [
        [4, "P1", "one", "mend"],
        [7, "P2", "two", "mend"],
    ]


def test_an_empty_log_has_every_column():
    assert list(AuditLog().frame().columns) == list(AUDIT_COLUMNS)
    assert repr(AuditLog()) == "AuditLog(0 rows)"


def test_an_unknown_severity_is_refused():
    with pytest.raises(ValueError, match="severity is one of stop, caution, note"):
        AuditLog().add("panic", "a", rule="x")
