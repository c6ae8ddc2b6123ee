"""What people look at: numbers first as plain values, then figures and pages."""

from brimline.report.attention import flagged
from brimline.report.digest import pages_digest
from brimline.report.map_page import map_html
from brimline.report.numbers import Figure, figures
from brimline.report.page import report_html
from brimline.report.results import Results
from brimline.report.sheets import sheets_html
from brimline.report.sld import layer_style, styles

__all__ = [
    "Figure",
    "Results",
    "figures",
    "flagged",
    "layer_style",
    "map_html",
    "pages_digest",
    "report_html",
    "sheets_html",
    "styles",
]
