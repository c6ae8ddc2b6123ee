"""The PDF, and the table that ends a run."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from brimline.cli.summary import summary
from brimline.errors import StoreError
from brimline.publish import pages

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.report import Results


@pytest.mark.printing
def test_the_report_prints(made_results: Results) -> None:
    content = pages.pdf_bytes(made_results)
    assert content.startswith(b"%PDF-")
    assert b"%%EOF" in content[-64:]
    assert len(content) > 50_000


def test_a_missing_printer_is_named_with_the_way_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(StoreError, match=r"pip install 'brimline\[pdf\]'"):
        pages.weasyprint_or_refuse()


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_run_ends_with_what_matters(made_results: Results, tmp_path: Path, units: str) -> None:
    (tmp_path / "report.html").touch()
    manifest = dict(made_results.manifest) | pages.plain_figures(made_results)
    manifest["headline"] = {
        "storage_m3": 591.0, "audit_greatest_difference_pct": 0.4, "borrow_m3": 0.0, "cost": 0,
    }  # fmt: skip
    told = summary(manifest, units, tmp_path).replace("\N{NO-BREAK SPACE}", " ")
    # by hand: the outline's corners give 55 862.5 m², that is 5.586 ha or 13.804 acres
    site = next(line for line in told.splitlines() if line.startswith("  Site "))
    assert site.split()[1:] == (["5.59", "ha"] if units == "metric" else ["13.80", "ac"])
    assert told.count("Elements keep") == 1  # not twice
    assert "Differs from a second library by  " in told
    assert "Fill to bring in" not in told  # there is none
    assert "Cost" not in told  # no rates were given
    assert "  Intakes: edge-limited in 1 row (2 Old gate)" in told
    assert "  1 warning, see above and run.json" in told
    # a row that ends at a flow path as the rules want it is told in one line, not put to a person
    assert "swale lines: at-flow-path" not in told
    assert "Only told: at-flow-path 1, undersized 1" in told.splitlines()
    assert f"Results in {tmp_path}:" in told
    assert "report.html" in told
    assert "report.pdf" not in told
    assert len(told.splitlines()) < 30


def test_a_run_that_stopped_early_ends_with_what_its_stages_told(tmp_path: Path) -> None:
    manifest = {"headline": {"largest_catchment_m2": 716_400.0, "intakes": 6}, "warnings": 0}
    told = summary(manifest, "metric", tmp_path)
    assert "  Largest catchment  71.64\N{NO-BREAK SPACE}ha" in told
    assert "Nothing needs a person." in told
