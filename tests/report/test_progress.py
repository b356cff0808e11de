"""The bar of long work: where it is shown, and how it moves."""

import sys
from types import ModuleType, SimpleNamespace

import pytest

from pumplife.report.progress import USUAL, Progress, _in_notebook


def with_shell(monkeypatch: pytest.MonkeyPatch, shell: object) -> None:
    ipython = ModuleType("IPython")
    ipython.get_ipython = lambda: shell  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "IPython", ipython)


def test_a_log_gets_no_bar_though_the_module_of_kernels_is_loaded(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "ipykernel", ModuleType("ipykernel"))
    with_shell(monkeypatch, None)
    with Progress(("records",)) as told:
        told("records")
    assert capsys.readouterr() == ("", "")


def test_a_notebook_is_told_by_its_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    with_shell(monkeypatch, SimpleNamespace())  # a shell in a terminal
    assert not _in_notebook()
    with_shell(monkeypatch, SimpleNamespace(kernel=object()))
    assert _in_notebook()
    monkeypatch.delitem(sys.modules, "IPython")
    assert not _in_notebook()


def test_a_step_that_nobody_expected_makes_the_bar_longer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    expected = USUAL["records"] + USUAL["fits"]
    with Progress(("records", "fits")) as told:
        told("records")
        told("fits: 3 groups")
        assert repr(told) == f"<Progress: {USUAL['records'] / expected:.0%}>"
        told("rewind")
        assert repr(told) == f"<Progress: {expected / (expected + USUAL['rewind']):.0%}>"
    assert "fits: 3 groups" in capsys.readouterr().err
