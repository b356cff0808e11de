"""A notebook's first import waits for nothing heavy."""

import subprocess
import sys

HEAVY = {
    "numpy", "pandas", "scipy", "scipy.stats", "matplotlib", "lifelines", "reliability", "jinja2",
    "xlsxwriter", "ipywidgets", "IPython",
}  # fmt: skip


def loaded_by(statement):
    script = f"import sys; {statement}; print('\\n'.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


def test_importing_the_package_loads_nothing_heavy():
    assert not loaded_by("import pumplife") & HEAVY


def test_figures_load_neither_widgets_nor_fitters():
    loaded = loaded_by("from pumplife.report import controls, what_if, opening")
    assert "pumplife.report.what_if" in loaded
    assert not loaded & {"ipywidgets", "IPython", "lifelines", "reliability"}
