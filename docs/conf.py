"""How the manual is built."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from generate import write_generated_pages

project = "tuftwork"
author = "The tuftwork authors"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
html_theme = "furo"
html_title = "tuftwork"
myst_enable_extensions = ["dollarmath", "colon_fence", "deflist"]
myst_heading_anchors = 3
suppress_warnings = ["myst.header"]

write_generated_pages(Path(__file__).parent)
