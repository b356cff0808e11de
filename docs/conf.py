"""How Sphinx reads the pages: Markdown, docstrings and notebooks, without the network."""

import re
from typing import Any

import pumplife

project = "pumplife"
version = release = pumplife.__version__
extensions = ["sphinx.ext.autodoc", "sphinx.ext.napoleon", "myst_nb"]
exclude_patterns = ["README.md"]  # pages include it
html_theme = "alabaster"
html_static_path = ["assets"]
html_css_files = ["docs.css"]
html_theme_options = {
    "description": "Rebuild intervals and kit stock, from the plant's own records",
    "fixed_sidebar": False,
    "show_powered_by": False,
    "page_width": "76rem",
}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}
html_copy_source = False
html_show_copyright = False

smartquotes = False  # commands and checks stand as they are written
nitpicky = True
# docstrings name arrays and tables in plain words, which are no classes to link to
nitpick_ignore_regex = [("py:.*", ".*")]

autodoc_typehints = "none"  # the docstrings say it, with units
autodoc_member_order = "bysource"
default_role = "code"
napoleon_google_docstring = False
napoleon_use_ivar = True
toc_object_entries = False

myst_enable_extensions = ["colon_fence"]
myst_heading_anchors = 3
nb_execution_mode = "off"
nb_ipywidgets_js = {}  # pages read well without sliders, and ask no other server


def list_sources(*told: Any) -> None:
    """Give sources as a list: numbered ones of several docstrings would clash on one page."""
    lines: list[str] = told[-1]
    lines[:] = [re.sub(r"^\.\. \[\d+\] ", "*  ", line) for line in lines]
    lines[:] = [re.sub(r" ?\[\d+\]_", "", line) for line in lines]


def setup(app: Any) -> None:
    """Hook in before napoleon reads a docstring."""
    app.connect("autodoc-process-docstring", list_sources, priority=100)
